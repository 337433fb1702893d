"""Holds the engine's run in time against scipy's Radau integrator.

    python in_time.py file.json

The file holds one exported circuit, its operating point, and the engine's volts from moment to
moment. Here the same circuit is a set of plain rates: `C dv/dt` by node, `L di/dt` by winding.
That needs some capacitance at every node, leakage in every winding and iron loss in every core,
which the exported circuit has. Radau IIA of fifth order, relative and absolute tolerance 1e-10
(Hairer and Wanner; scipy.integrate). Prints one line and exits with 1 if a node differs by more
than 1e-4 of its largest departure from rest.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

import laws

Array = NDArray[np.float64]

ACCEPTED = 1e-4
"""Accepted difference, as part of a node's largest departure from rest."""

TOLERANCE = 1e-10
"""Of the integrator, relative and absolute."""


class Rates:
    """A circuit as rates of node volts, winding amperes and core ampere-turns."""

    def __init__(self, whole: dict[str, Any], constants: dict[str, float]) -> None:
        self.omega = 2.0 * np.pi * whole["hertz"]
        self.nodes = n = len(whole["nodes"])
        self.windings: list[tuple[dict[str, Any], int]] = []
        self.cores: list[tuple[float, float]] = []
        self.sines: list[tuple[int, int, float]] = []
        self.triodes: list[dict[str, Any]] = []
        self.pentodes: list[dict[str, Any]] = []
        capacitance = np.zeros((n, n))
        self.siemens = np.zeros((n, n))
        self.feed = np.zeros(n)
        for node in range(n):
            self.siemens[node, node] += constants["floor_siemens"]
        for e in whole["elements"]:
            law = e["law"]
            if law == "capacitor":
                if e["esr_ohms"] != 0.0:
                    raise ValueError("no series resistance here")
                stamp(capacitance, e["a"], e["b"], e["farads"])
            elif law == "branch":
                stamp(self.siemens, e["a"], e["b"], 1.0 / e["ohms"])
                self.feed[e["a"]] += e["volts"] / e["ohms"]
                self.feed[e["b"]] -= e["volts"] / e["ohms"]
            elif law == "alternating":
                stamp(self.siemens, e["a"], e["b"], 1.0 / e["ohms"])
                self.sines.append((e["a"], e["b"], np.sqrt(2.0) * e["volts"] / e["ohms"]))
            elif law == "transformer":
                self.cores.append((e["henries"], e["core_ohms"]))
                self.windings += [(w, len(self.cores) - 1) for w in e["windings"]]
            elif law in ("triode", "pentode"):
                stamp(self.siemens, e["plate"], e["cathode"], constants["leak_siemens"])
                (self.triodes if law == "triode" else self.pentodes).append(e)
            else:
                raise ValueError(f"no such law here: {law}")
        self.inverse = np.linalg.inv(capacitance[1:, 1:])
        self.size = n - 1 + len(self.windings) + len(self.cores)

    def start(self, volts: list[float]) -> Array:
        """The state at rest."""
        amps = [(volts[w["a"]] - volts[w["b"]]) / w["ohms"] for w, _ in self.windings]
        turns = np.zeros(len(self.cores))
        for (w, core), i in zip(self.windings, amps):
            turns[core] += w["turns"] * i
        return np.concatenate([volts[1:], amps, turns])

    def __call__(self, t: float | Array, y: NDArray) -> NDArray:
        """Rates at a state, or at many side by side in further axes, each at its own moment; complex states give
        slopes by complex step."""
        n, count = self.nodes, len(self.windings)
        v = np.concatenate([np.zeros_like(y[:1]), y[: n - 1]])
        amps, held = y[n - 1 : n - 1 + count], y[n - 1 + count :]
        leaving = np.tensordot(self.siemens, v, 1) - self.feed.reshape((n,) + (1,) * (y.ndim - 1))
        for a, b, peak in self.sines:
            wave = peak * np.sin(self.omega * t)
            leaving[a] -= wave
            leaving[b] += wave
        through = -held.copy()
        for (w, core), i in zip(self.windings, amps):
            leaving[w["a"]] += i
            leaving[w["b"]] -= i
            through[core] += w["turns"] * i
        # volts per turn: what the windings bring and the inductance does not take, the iron does
        turn = [i * ohms for i, (_, ohms) in zip(through, self.cores)]
        for e in self.triodes:
            p, g, k = e["plate"], e["grid"], e["cathode"]
            plate, grid = laws.triode(e["numbers"], v[p] - v[k], v[g] - v[k])
            leaving[p] += plate
            leaving[g] += grid
            leaving[k] -= plate + grid
        for e in self.pentodes:
            p, s, g, k = e["plate"], e["screen"], e["grid"], e["cathode"]
            all_three = laws.pentode(e["numbers"], v[p] - v[k], v[s] - v[k], v[g] - v[k])
            for node, i in zip((p, s, g), all_three):
                leaving[node] += i
                leaving[k] -= i
        rates = np.empty_like(y)
        rates[: n - 1] = -np.tensordot(self.inverse, leaving[1:], 1)
        for at, ((w, core), i) in enumerate(zip(self.windings, amps), n - 1):
            rates[at] = (v[w["a"]] - v[w["b"]] - w["turns"] * turn[core] - w["ohms"] * i) / w["leakage"]
        for at, (volts, (henries, _)) in enumerate(zip(turn, self.cores), n - 1 + count):
            rates[at] = volts / henries
        return rates

    def slopes(self, t: float | Array, y: Array) -> Array:
        """Their slopes: by rate, then by the state that is moved."""
        columns = []
        for at in range(self.size):
            moved = y.astype(np.complex128)
            moved[at] += 1j * laws.STEP
            columns.append(self(t, moved).imag / laws.STEP)
        return np.stack(columns, axis=1)


def stamp(matrix: Array, a: int, b: int, value: float) -> None:
    """Something between two nodes."""
    matrix[a, a] += value
    matrix[b, b] += value
    matrix[a, b] -= value
    matrix[b, a] -= value


def apart(case: dict[str, Any]) -> tuple[float, str]:
    """The worst difference over a node's largest departure from rest, and the node."""
    rates = Rates(case["whole"], case["constants"])
    times = np.array([m["seconds"] for m in case["moments"]])
    engine = np.array([m["volts"] for m in case["moments"]])[:, 1:]
    found = solve_ivp(
        rates, (0.0, times[-1]), rates.start(case["volts"]), "Radau", times,
        jac=rates.slopes, rtol=TOLERANCE, atol=TOLERANCE, max_step=2e-6,
    )  # fmt: skip
    if not found.success:
        raise RuntimeError(found.message)
    here = found.y[: rates.nodes - 1].T
    departure = np.abs(here - np.array(case["volts"][1:])).max(axis=0)
    relative = np.abs(here - engine).max(axis=0) / departure
    worst = int(relative.argmax())
    return float(relative[worst]), case["whole"]["nodes"][worst + 1]


def main() -> int:
    """Compares the named file; the exit status."""
    with open(sys.argv[1], encoding="utf-8") as file:
        case = json.load(file)
    worst, node = apart(case)
    agree = "yes" if worst <= ACCEPTED else "NO"
    print(f"in time: {case['case']}: {worst:.1e} of the largest departure, at {node};")
    print(f"{case['steps']} steps, {case['iterations']} iterations; agree: {agree}")
    return 0 if worst <= ACCEPTED else 1


if __name__ == "__main__":
    sys.exit(main())
