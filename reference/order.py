"""Readings it takes to be sure of the part: `order.py PROGRAM [CASES] [SEED]`.

On generated cases whose fault is visible to a DC meter: how many readings it takes until one
part has 90 %, when each is the first that the program proposes and the generator can take (volts
under power, all valves in or some out, ohms with the power off, volts of a signal), and when they are taken in a fixed
order: volts, supply first, then along the signal's path; then the ohms of every resistor in the wiring's
order. A case that is not there after MOST readings counts with these. PROGRAM as for score.py.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

import cases
import score

SURE = 0.9
MOST = 20
OVER = 20e6


class Bench:
    """A program that is asked again and again."""

    def __init__(self, program, wiring, path):
        self.wiring, self.path = wiring, path
        self.run = subprocess.Popen([program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(self, readings):
        """Readings as what is said anew for each, line by line, and what is typed: a block for each condition."""
        blocks = {(): []}
        for settings, typed in readings:
            blocks.setdefault(settings, []).append(typed)
        lines = []
        for k, (settings, typed) in enumerate(blocks.items()):
            lines += [f"readings {k + 1}", "meter 10M 0.5%", *settings, *typed]
        self.path.write_text("\n".join(lines) + "\n")
        self.run.stdin.write(f"{self.wiring} {self.path}\n")
        self.run.stdin.flush()
        return json.loads(self.run.stdout.readline())


def first(answer):
    """The likeliest part, whatever is wrong with it, or that nothing is; and how likely."""
    parts = {"healthy": answer["healthy"]}
    for s in answer["suspects"]:
        parts[s["part"]] = parts.get(s["part"], 0.0) + s["probability"]
    return max(parts.items(), key=lambda row: row[1])


def is_sure(answer):
    return first(answer)[1] >= SURE


def node_of(amp, probe):
    """The generator's node of a point as the program types it."""
    if "." in probe:
        name, terminal = probe.split(".")
        part = amp.parts.get(name)
        if part is None:
            return None
        pins = cases.PINS.get(part["kind"], {})
        return part["nodes"].get(pins.get(terminal, terminal))
    return amp.find(probe)


def read(amp, specimen, point, cold, draw):
    """What the meter shows; none where the generator has no such point."""
    part = amp.parts.get(point)
    if cold:
        ends = (part["nodes"]["1"], part["nodes"]["2"]) if part else (node_of(amp, point), "ground")
        if any(e not in specimen.index for e in ends):
            return None
        return specimen.cold(*ends, draw)
    node = node_of(amp, point)
    shown = specimen.read([node], draw) if node in specimen.index else None
    return shown[0] if shown else None


def take(amp, specimen, wanted, seed):
    """What is typed for a proposed reading, one meter reading all volts, and ohms, and signals; none where the
    generator has no such thing."""
    point, unit, settings = wanted["probe"], wanted["unit"], wanted["settings"]
    if unit == "ohm":
        shown = read(amp, specimen, point, True, np.random.default_rng(seed + 1))
        return None if shown is None else f"{point} OL" if shown > OVER else f"{point} {score.typed(float(f'{shown:.4g}'))}"
    signal = [s.split() for s in settings if s.startswith("signal ")]
    out = [s.split()[2:] for s in settings if s.startswith("valves without ")]
    if unit == "V" and len(settings) == len(out):
        with specimen.without([name for names in out for name in names]):
            shown = read(amp, specimen, point, False, np.random.default_rng(seed))
        return None if shown is None else f"{point} {score.typed(shown)}"
    node = node_of(amp, point)
    if unit != "V ac" or not signal or node not in specimen.index:
        return None
    turns = [(w[1], float(w[2]) / 10) for w in (s.split() for s in settings) if w[0] == "set"]
    jack = amp.find(f"{signal[0][1]}.tip")
    draw = np.random.default_rng(seed + 2)
    shown = specimen.driven(jack, float(signal[0][2]), float(signal[0][3]), [node], draw, turns)
    return None if shown is None or shown[0] <= 0 else f"{point} {score.typed(shown[0])} ac"


def one(amp, bench, specimen, fixed, seed, by_program):
    """Readings taken until it is sure, whether it is, and the answer."""
    taken, answer = [], bench.ask([])
    order, tried = iter(fixed), []
    while len(taken) < MOST:
        points = iter(answer["next"]) if by_program else order
        key = lambda n: (n["probe"], n["unit"], tuple(n["settings"]))
        wanted = next((n for n in points if key(n) not in tried), None)
        if wanted is None:
            break
        tried.append(key(wanted))
        typed = take(amp, specimen, wanted, seed)
        if typed is None:
            continue
        taken.append((tuple(wanted["settings"]), typed))
        answer = bench.ask(taken)
        if is_sure(answer):
            return len(taken), True, answer
    return MOST, False, answer


def main():
    program = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    with tempfile.TemporaryDirectory() as folder:
        for name, points in cases.POINTS.items():
            wiring = score.HERE / "amps" / f"{name}.wiring"
            amp = cases.Amp(wiring.read_text())
            bench = Bench(program, wiring, pathlib.Path(folder) / "now.readings")
            sigma = score.spread(amp, points)
            rows = []
            for k in range(count):
                start = seed * 1_000_003 + 7 * k
                truth, sound, shown = cases.case(amp, points, start)
                if truth is None or shown is None or sound is None:
                    continue
                if np.max(np.abs(np.array(shown) - np.array(sound)) / sigma) < score.VISIBLE:
                    continue
                draw = np.random.default_rng(start)
                every = cases.faults(amp)
                specimen = cases.Specimen(amp, draw)
                draw.random()
                draw.integers(len(every))
                cases.inject(specimen, *truth, draw)
                resistors = [n for n, p in amp.parts.items() if p["kind"] == "resistor"]
                of = lambda names, unit, settings: [{"probe": n, "unit": unit, "settings": settings} for n in names]
                fixed = of(points, "V", []) + of(resistors, "ohm", ["power off"])
                found = [one(amp, bench, specimen, fixed, start + 1, way) for way in (True, False)]
                rows.append([(n, sure, first(a)[0] == truth[0]) for n, sure, a in found])
            print(f"\n{name}: {len(rows)} visible faults, at most {MOST} readings")
            for way, words in enumerate(("as proposed", "supply first, then the signal's path")):
                counts = np.array([r[way][0] for r in rows])
                sure = sum(r[way][1] for r in rows)
                right = sum(r[way][2] for r in rows if r[way][1])
                half = 1.96 * counts.std(ddof=1) / np.sqrt(len(counts))
                print(f"  {words:38} {counts.mean():5.2f} +- {half:.2f} readings; sure in {sure} of {len(rows)}, right in {right} of these")


if __name__ == "__main__":
    main()
