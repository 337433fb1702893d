"""How far two more readings get: `extra.py PROGRAM [CASES] [SEED]`.

Over all generated faults, visible to a DC meter or not: the volts of the usual points first, then twice
the first reading that the program proposes and the generator can take (volts, all valves in or
some out, ohms with the power off, volts of a signal). Ripple is not among them: steady sources stand for the supplies of these amplifiers.
PROGRAM as for score.py.
"""

import pathlib
import sys
import tempfile

import numpy as np

import cases
import order
import score

EXTRA = 2


def one(amp, bench, specimen, volts, seed):
    """The answers to the volts, and to these with one and with two more readings."""
    taken = [((), f"{p} {score.typed(v)}") for p, v in volts]
    answers = [bench.ask(taken)]
    for _ in range(EXTRA):
        typed = None
        for wanted in answers[-1]["next"]:
            typed = order.take(amp, specimen, wanted, seed)
            if typed:
                taken.append((tuple(wanted["settings"]), typed))
                break
        answers.append(bench.ask(taken) if typed else answers[-1])
    return answers


def main():
    program = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    with tempfile.TemporaryDirectory() as folder:
        for name, points in cases.POINTS.items():
            wiring = score.HERE / "amps" / f"{name}.wiring"
            amp = cases.Amp(wiring.read_text())
            bench = order.Bench(program, wiring, pathlib.Path(folder) / "now.readings")
            every, rows = cases.faults(amp), []
            for k in range(count):
                start = seed * 1_000_003 + 7 * k
                truth, _, shown = cases.case(amp, points, start)
                if truth is None or shown is None:
                    continue
                draw = np.random.default_rng(start)
                specimen = cases.Specimen(amp, draw)
                draw.random()
                draw.integers(len(every))
                cases.inject(specimen, *truth, draw)
                answers = one(amp, bench, specimen, list(zip(points, shown)), start + 1)
                places = []
                for answer in answers:
                    keys = [key for key, _ in score.ranked(answer)]
                    places.append(next((i for i, key in enumerate(keys) if score.same(key, truth)), 99))
                rows.append(places)
                if (k + 1) % 25 == 0:
                    tell(name, rows)
            tell(name, rows)


def tell(name, rows):
    print(f"\n{name}: {len(rows)} faults, visible or not")
    for more in range(EXTRA + 1):
        for top in (1, 3):
            p, low, high = score.interval(sum(r[more] < top for r in rows), len(rows))
            print(f"  volts and {more} more, class among the first {top}: {p:5.3f}  ({low:.3f} to {high:.3f})", flush=True)


if __name__ == "__main__":
    main()
