"""Does with numpy what the engine did, on the same circuits, and prints both beside each other.

    python pace.py pace.json
    python pace.py --answers pace.json      compares answers alone; exits with 1 when they differ

The file is what `cargo run --release -p solve --example pace` prints. Plain numpy: dense
matrices, valves of a kind evaluated side by side, slopes by complex step, LAPACK. One thread.
What would take minutes is done for a part and multiplied (the table says of how many).

Prints a table for docs/performance.md: seconds of each, their ratio, the least that the engine's own
count of multiplications allows (2.45 GHz, as counted for the larger amplifier), and how far both
answers are apart.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from typing import Any, Callable

import numpy as np
from numpy.typing import NDArray

import laws
from in_time import stamp
from second_opinion import Valves

Array = NDArray[np.float64]

WORDS = {
    "cold": "operating point, cold",
    "warm": "operating point, one part moved",
    "faults": "one single fault",
    "builds": "one build of many",
    "response": "response, 200 frequencies, all nodes",
    "sound": "one sample at 192 kHz",
    "power": "power and distortion at one level",
    "tremolo": "one second of the tremolo",
}
"""What each figure is of."""

LEAST = {
    "cold": 5e-6, "warm": 2e-6, "faults": 0.5e-3 / 531, "builds": 0.8e-6, "response": 36e-6,
    "sound": 0.53e-6, "power": 5e-3, "tremolo": 1.5e-3,
}  # fmt: skip
"""Seconds for the larger amplifier: multiply-adds counted by hand, each at half a cycle."""


WANTED = {
    ("se5", "cold"): 4e-6, ("se5", "builds"): 0.6e-6, ("se5", "response"): 20e-6, ("se5", "sound"): 0.5e-6,
    ("se5", "power"): 3e-3, ("pp18", "cold"): 12e-6, ("pp18", "warm"): 5e-6, ("pp18", "faults"): 2e-3 / 531,
    ("pp18", "builds"): 2e-6, ("pp18", "response"): 80e-6, ("pp18", "sound"): 1.3e-6, ("pp18", "power"): 12e-3,
    ("pp18", "tremolo"): 5e-3,
}  # fmt: skip
"""Seconds that are wanted."""


@dataclass
class Drive:
    """What a source does: volts by the second."""

    a: int
    b: int
    siemens: float
    volts: Callable[[float], float]


class Circuit:
    """Unknowns: node volts without ground, winding and coil amperes, volts per turn of cores.
    `capacity @ rate + resistance @ x + devices(x) = feed(t)`."""

    def __init__(self, whole: dict[str, Any], constants: dict[str, float]) -> None:
        elements = whole["elements"]
        self.nodes = n = len(whole["nodes"])
        coils = [e for e in elements if e["law"] == "inductor"]
        cores = [e for e in elements if e["law"] == "transformer"]
        self.size = n + len(coils) + sum(len(e["windings"]) + 1 for e in cores)
        shape = (self.size, self.size)
        self.capacity, self.resistance = np.zeros(shape), np.zeros(shape)
        self.feed = np.zeros(self.size)
        self.drives: dict[str, Drive] = {}
        self.pairs: list[dict[str, Any]] = []
        self.magnets: list[tuple[int, float]] = []
        for node in range(n):
            self.resistance[node, node] += constants["floor_siemens"]
        at = n
        for e in elements:
            law = e["law"]
            if law == "branch":
                stamp(self.resistance, e["a"], e["b"], 1.0 / e["ohms"])
                self.feed[e["a"]] += e["volts"] / e["ohms"]
                self.feed[e["b"]] -= e["volts"] / e["ohms"]
            elif law == "alternating":
                stamp(self.resistance, e["a"], e["b"], 1.0 / e["ohms"])
                self.drives[e["name"]] = Drive(e["a"], e["b"], 1.0 / e["ohms"], lambda _: 0.0)
            elif law == "capacitor":
                stamp(self.capacity, e["a"], e["b"], e["farads"])
            elif law == "inductor":
                self._coil(e, at, None, 0.0)
                at += 1
            elif law == "transformer":
                core = at + len(e["windings"])
                for winding in e["windings"]:
                    self._coil({**winding, "henries": winding["leakage"]}, at, core, winding["turns"])
                    at += 1
                # ampere-turns of the windings are those of the core: its rate is volts per turn
                self.resistance[core, core] += 0.0 if e["core_ohms"] is None else 1.0 / e["core_ohms"]
                self.magnets.append((core, e["henries"]))
                at = core + 1
            elif law in ("triode", "pentode"):
                stamp(self.resistance, e["plate"], e["cathode"], constants["leak_siemens"])
            elif law == "diode":
                self.pairs.append(e)
            else:
                raise ValueError(f"no such law here: {law}")
        self.triodes = Valves.read(elements, "triode", ["plate", "grid", "cathode"])
        self.pentodes = Valves.read(elements, "pentode", ["plate", "screen", "grid", "cathode"])
        self.solves = 0
        self._close()

    def _coil(self, e: dict[str, Any], at: int, core: int | None, turns: float) -> None:
        """Row `at`: volts over it, less what a core takes, are ohms times amperes and rate."""
        a, b = e["a"], e["b"]
        self.resistance[a, at] += 1.0
        self.resistance[b, at] -= 1.0
        self.resistance[at, at] -= e["ohms"]
        self.resistance[at, a] += 1.0
        self.resistance[at, b] -= 1.0
        self.capacity[at, at] -= e["henries"]
        if core is not None:
            self.resistance[at, core] -= turns
            self.resistance[core, at] -= turns

    def _close(self) -> None:
        """Adds the magnetising amperes of each core as unknowns."""
        more = len(self.magnets)
        whole = self.size + more
        for name in ("capacity", "resistance"):
            wide = np.zeros((whole, whole))
            wide[: self.size, : self.size] = getattr(self, name)
            setattr(self, name, wide)
        self.feed = np.concatenate([self.feed, np.zeros(more)])
        for at, (core, henries) in enumerate(self.magnets, self.size):
            self.resistance[core, at] += 1.0
            self.resistance[at, core] += 1.0
            self.capacity[at, at] -= henries
        self.size = whole

    def devices(self, x: Array) -> tuple[Array, Array]:
        """Amperes that valves and diodes take from each node, and their slopes."""
        amps, slopes = np.zeros(self.size), np.zeros((self.size, self.size))
        for valves, law in ((self.triodes, laws.triode), (self.pentodes, laws.pentode)):
            if not valves.nodes.size:
                continue
            *ends, k = valves.nodes
            across = [x[end] - x[k] for end in ends]
            for moved, by in enumerate(ends):
                out = law(valves.numbers, *[v + 1j * laws.STEP * (at == moved) for at, v in enumerate(across)])
                for end, current in zip(ends, out):
                    g = current.imag / laws.STEP
                    np.add.at(slopes, (end, by), g)
                    np.add.at(slopes, (end, k), -g)
                    np.add.at(slopes, (k, by), -g)
                    np.add.at(slopes, (k, k), g)
            for end, current in zip(ends, out):
                np.add.at(amps, end, current.real)
                np.add.at(amps, k, -current.real)
        for e in self.pairs:
            a, k = e["a"], e["k"]
            both = laws.diode(e["diode"]["forward"], e["diode"]["numbers"], np.complex128(x[a] - x[k] + 1j * laws.STEP))
            amps[a] += both.real
            amps[k] -= both.real
            stamp(slopes, a, k, both.imag / laws.STEP)
        return amps, slopes

    def settle(self, x: Array, matrix: Array, right: Array, within: float) -> Array:
        """Newton steps of at most 50 V on `matrix @ x + devices(x) = right`."""
        for _ in range(200):
            amps, slopes = self.devices(x)
            left = matrix @ x + amps - right
            move = np.zeros(self.size)
            move[1:] = np.linalg.solve((matrix + slopes)[1:, 1:], -left[1:])
            self.solves += 1
            largest = np.abs(move[: self.nodes]).max()
            x = x + move * min(1.0, 50.0 / largest if largest > 0.0 else 1.0)
            if largest < within:
                return x
        raise RuntimeError("Newton's method did not settle")

    def drive(self, t: float) -> Array:
        """The right-hand side at a moment."""
        right = self.feed.copy()
        for d in self.drives.values():
            volts = d.volts(t)
            right[d.a] += d.siemens * volts
            right[d.b] -= d.siemens * volts
        return right

    def rest(self, start: Array | None = None, resistance: Array | None = None) -> Array:
        """The operating point."""
        matrix = self.resistance if resistance is None else resistance
        return self.settle(np.zeros(self.size) if start is None else start, matrix, self.feed, 1e-9)

    def run(self, x: Array, h: float, steps: int, see: Callable[[float, Array], None]) -> Array:
        """Steps of one length by the two-step backward rule, the first by the one-step rule."""
        before = x
        for at in range(1, steps + 1):
            if at == 1:
                factor, past = 1.0 / h, self.capacity @ x / h
            else:
                factor, past = 1.5 / h, self.capacity @ (2.0 * x - 0.5 * before) / h
            guess = 2.0 * x - before
            before, x = x, self.settle(guess, self.resistance + factor * self.capacity, self.drive(at * h) + past, 1e-3)
            see(at * h, x)
        return x


def refined(matrix: NDArray, x: NDArray, right: NDArray) -> NDArray:
    """A solution corrected in extended precision: what a core without leakage leaves of a
    difference of its halves is too small for plain numbers."""
    wide, longer = matrix.astype(np.clongdouble), x.astype(np.clongdouble)
    for _ in range(2):
        longer += np.linalg.solve(matrix, (right - wide @ longer).astype(complex))
    return longer.astype(complex)


def seconds(call: Callable[[], Any], times: int = 3) -> float:
    """Least processor seconds of a few calls."""
    least = np.inf
    for _ in range(times):
        begin = time.thread_time()
        call()
        least = min(least, time.thread_time() - begin)
    return float(least)


UNITS = {"cold": "V", "response": "dB"}


def responses(circuit: Circuit, rest: Array, answer: dict[str, Any]) -> tuple[NDArray, NDArray, NDArray]:
    """Matrices, right-hand side, and every unknown at every frequency, ground left out."""
    omega = 2.0 * np.pi * np.array(answer["hertz"])
    linear = circuit.resistance + circuit.devices(rest)[1]
    drive = circuit.drives[answer["source"]]
    right = np.zeros((circuit.size, 1), dtype=complex)
    right[drive.a] += drive.siemens
    right[drive.b] -= drive.siemens
    matrices = linear[None, 1:, 1:] + 1j * omega[:, None, None] * circuit.capacity[None, 1:, 1:]
    return matrices, right[1:], np.linalg.solve(matrices, right[None, 1:])


def difference(circuit: Circuit, rest: Array, row: dict[str, Any], engine: Array) -> float:
    """How far the engine's answer is from the one here: volts at rest, or decibels of what is heard."""
    nodes = circuit.nodes
    if row["key"] == "cold":
        return float(np.abs(rest[:nodes] - engine).max())
    matrices, right, rough = responses(circuit, rest, row["answer"])
    found = np.array([refined(m, x, right) for m, x in zip(matrices, rough)])[:, : nodes - 1, 0]
    told = np.array(row["answer"]["volts"])[:, 1:, :]
    told = told[..., 0] + 1j * told[..., 1]
    heard = np.abs(told) > 1e-6
    return float(np.abs(20.0 * np.log10(np.abs(found[heard]) / np.abs(told[heard]))).max())


def timed(circuit: Circuit, rest: Array, row: dict[str, Any], engine: Array) -> tuple[float, str] | None:
    """Seconds here for what `row` is one of, and how far the answers are apart."""
    key, answer = row["key"], row["answer"]
    nodes = circuit.nodes
    noise = np.random.default_rng(1)
    if key == "cold":
        return seconds(circuit.rest), f"{difference(circuit, rest, row, engine):.0e} V"
    if key in ("warm", "faults", "builds"):

        def many(count: int) -> None:
            for _ in range(count):
                moved = circuit.resistance * 1.0
                for _ in range(1 if key != "builds" else 60):
                    a, b = noise.integers(1, nodes, 2)
                    stamp(moved, a, b, 0.1 * abs(circuit.resistance[a, b]))
                circuit.rest(rest, moved)

        return seconds(lambda: many(20)) / 20.0, ""
    if key == "response":
        took = seconds(lambda: responses(circuit, rest, answer))
        return took, f"{difference(circuit, rest, row, engine):.0e} dB"
    if key == "sound":
        drive = circuit.drives["input"]
        tone = lambda t, hertz: np.sin(2.0 * np.pi * hertz * t)  # noqa: E731
        drive.volts = lambda t: answer["drive"] * (tone(t, 220.0) + tone(t, 330.0))
        some = 200
        took = seconds(lambda: circuit.run(rest, 1.0 / answer["rate"], some, lambda *_: None), 1) / some
        return took, ""
    if key == "power":
        drive, hertz = circuit.drives["input"], answer["hertz"]
        drive.volts = lambda t: np.sqrt(2.0) * answer["volts"] * np.sin(2.0 * np.pi * hertz * t)
        a, b = answer["load"]
        cycles, steps = 20, 257
        wave: list[float] = []
        begin = time.thread_time()
        circuit.run(rest, 1.0 / hertz / steps, cycles * steps, lambda _, x: wave.append(x[a] - x[b]))
        took = time.thread_time() - begin
        last = np.array(wave[-steps:])
        peak = 2.0 * abs(np.mean(last * np.exp(-2j * np.pi * np.arange(1, steps + 1) / steps)))
        return took, f"{abs((peak / answer['fundamental']) ** 2 - 1.0):.0e} of the power after {cycles} cycles"
    return None


ACCEPTED = {"cold": 1e-6, "response": 1e-6}
"""Volts, decibels."""


def answers(amplifiers: list[dict[str, Any]]) -> int:
    """Compares what can be compared to the last digits; the exit status."""
    worst = 0.0
    for amplifier in amplifiers:
        circuit = Circuit(amplifier["whole"], amplifier["equations"]["constants"])
        rest = circuit.rest()
        for row in amplifier["rows"]:
            if row["key"] in ACCEPTED:
                apart = difference(circuit, rest, row, np.array(amplifier["volts"]))
                worst = max(worst, apart / ACCEPTED[row["key"]])
                print(f"{amplifier['name']}, {WORDS[row['key']]}: {apart:.0e} {UNITS[row['key']]} apart")
    print("agree: yes" if worst <= 1.0 else "agree: NO")
    return 0 if worst <= 1.0 else 1


def main() -> int:
    """Prints the table."""
    with open(sys.argv[-1], encoding="utf-8") as file:
        amplifiers = json.load(file)
    if "--answers" in sys.argv:
        return answers(amplifiers)
    print("| | engine | wanted | work | Python | ratio | engine / least | apart |")
    print("|---|---|---|---|---|---|---|---|")
    for amplifier in amplifiers:
        # what is on the mains is not done here
        circuit = Circuit(amplifier["whole"], amplifier["equations"]["constants"]) if "whole" in amplifier else None
        rest = circuit.rest() if circuit else np.zeros(0)
        for row in amplifier["rows"]:
            took = timed(circuit, rest, row, np.array(amplifier["volts"])) if circuit else None
            here, apart = (f"{readable(took[0])}", took[1]) if took else ("", "")
            ratio = f"{took[0] / row['seconds']:.0f}" if took else ""
            least = LEAST[row["key"]] if amplifier["name"] == "pp18" else None
            work = ", ".join(f"{value:.3g} {name}" for name, value in dict(row["work"] or {}).items())
            wanted = WANTED.get((amplifier["name"], row["key"]))
            cells = [
                f"{amplifier['name']}: {WORDS[row['key']]}", readable(row["seconds"]), readable(wanted) if wanted else "",
                work, here, ratio, f"{row['seconds'] / least:.1f}" if least else "", apart,
            ]  # fmt: skip
            print("| " + " | ".join(cells) + " |")
    return 0


def readable(value: float) -> str:
    """Seconds with a unit."""
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if value >= size:
            return f"{value / size:.3g} {unit}"
    return f"{value / 1e-9:.3g} ns"


if __name__ == "__main__":
    sys.exit(main())
