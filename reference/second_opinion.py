"""A second opinion on an operating point, from its exported equations.

Shares no code with the engine: laws written afresh, slopes by the complex step, a dense
Jacobian, LAPACK, and damping by pseudo-time (each node charged through a conductance that fades
as the residual falls). The last corrections use residuals in extended precision, so that what
remains is far below a microvolt. The exported volts are not used.

    python second_opinion.py file.json        prints the volts of every case in the file
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from typing import Any, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

import laws
from cycle import Group, NotSolved

Array = NDArray[np.float64]
Long = NDArray[np.longdouble]

DETERMINED_OHMS = 1e9
"""A node whose source resistance is above this has no volts of its own."""


@dataclass
class Opinion:
    """What was found."""

    volts: Array
    """Volts by node, ground first."""
    source_ohms: Array
    """Ohms from each node to ground."""
    determined: NDArray[np.bool_]
    """Whether the node has volts of its own."""
    correction: float
    """Largest last correction at a determined node, volts."""
    steps: int
    """Newton steps."""
    lit: list[str]
    """Glow lamps that are lit."""


@dataclass
class Valves:
    """All valves of one kind: terminals (the cathode last) and numbers, as columns."""

    nodes: NDArray[np.int64]
    numbers: dict[str, Array]

    @staticmethod
    def read(elements: list[dict[str, Any]], law: str, terminals: list[str]) -> Valves:
        """All valves with that law."""
        mine = [e for e in elements if e["law"] == law]
        nodes = np.array([[e[t] for e in mine] for t in terminals], dtype=np.int64)
        keys = mine[0]["numbers"].keys() if mine else []
        return Valves(nodes, {k: np.array([e["numbers"][k] for e in mine]) for k in keys})


class Circuit:
    """The equations of one case."""

    def __init__(self, equations: dict[str, Any]) -> None:
        self.constants: dict[str, float] = equations["constants"]
        elements: list[dict[str, Any]] = equations["elements"]
        self.count = len(equations["nodes"])
        count = self.count
        self.linear: Long = np.zeros((count, count), dtype=np.longdouble)
        """Siemens: amperes leaving a node (row) per volt of a node (column)."""
        self.fixed: Long = np.zeros(count, dtype=np.longdouble)
        """Amperes leaving each node at no volts."""
        for node in range(count):
            self.linear[node, node] += np.longdouble(self.constants["floor_siemens"])
        leak = 1.0 / self.constants["leak_siemens"]
        self.pairs: list[dict[str, Any]] = []
        self.groups: list[tuple[list[int], list[int], Group]] = []
        for e in elements:
            law = e["law"]
            if law == "branch":
                self._branch(e["a"], e["b"], e["ohms"], e["volts"])
            elif law == "amplifier":
                g = np.longdouble(1.0) / np.longdouble(self.constants["amplifier_ohms"])
                self.linear[e["output"], e["output"]] += g
                self.linear[e["output"], e["input"]] -= g * np.longdouble(e["gain"])
            elif law in ("triode", "pentode"):
                self._branch(e["plate"], e["cathode"], leak, 0.0)
            elif law in ("diode", "filament", "neon"):
                self.pairs.append(e)
            elif law == "rectifiers":
                plates = [p["plate"] for p in e["plates"]]
                cathodes = [p["cathode"] for p in e["plates"]]
                self.groups.append((plates, cathodes, Group.read(e, self.constants)))
            else:
                raise ValueError(f"no such law: {law}")
        self.triodes = Valves.read(elements, "triode", ["plate", "grid", "cathode"])
        self.pentodes = Valves.read(elements, "pentode", ["plate", "screen", "grid", "cathode"])
        self.lit: set[int] = set()
        self.rough = False
        """Are rectifier groups taken for straight lines, to find where to start?"""

    def _branch(self, a: int, b: int, ohms: float, volts: float) -> None:
        g = np.longdouble(1.0) / np.longdouble(ohms)
        self.linear[a, a] += g
        self.linear[b, b] += g
        self.linear[a, b] -= g
        self.linear[b, a] -= g
        self.fixed[a] -= g * np.longdouble(volts)
        self.fixed[b] += g * np.longdouble(volts)

    def _devices(self, v: Long) -> Iterator[tuple[Any, Any, Any]]:
        """For each device: its terminals (the reference last), currents into all but the
        reference, and their slopes by the volts of each against the reference."""
        if self.triodes.nodes.size:
            yield from _valves(self.triodes, v, laws.triode)
        if self.pentodes.nodes.size:
            yield from _valves(self.pentodes, v, laws.pentode)
        for at, e in enumerate(self.pairs):
            a, b = (e["a"], e["k"]) if e["law"] == "diode" else (e["a"], e["b"])
            across = np.complex128(float(v[a] - v[b]) + 1j * laws.STEP)
            if e["law"] == "diode":
                both = laws.diode(e["diode"]["forward"], e["diode"]["numbers"], across)
            elif e["law"] == "filament":
                both = laws.filament(e["numbers"], across)
            else:
                both = laws.neon(e["numbers"], across, at in self.lit)
            yield [a, b], [both.real], [[both.imag / laws.STEP]]

    def residual(self, v: Long) -> tuple[Long, Array]:
        """Amperes leaving each node, and the Jacobian."""
        left = self.linear @ v + self.fixed
        jacobian = self.linear.astype(np.float64)
        for nodes, amps, slopes in self._devices(v):
            reference = nodes[-1]
            for node, i, row in zip(nodes[:-1], amps, slopes):
                left[node] += np.longdouble(i)
                left[reference] -= np.longdouble(i)
                for other, g in zip(nodes[:-1], row):
                    jacobian[node, other] += g
                    jacobian[node, reference] -= g
                    jacobian[reference, other] -= g
                    jacobian[reference, reference] += g
        for plates, cathodes, group in self.groups:
            currents = group.rough_currents if self.rough else group.mean_currents
            means, slopes = currents(np.array(v[plates] - v[cathodes], dtype=float))
            for d, (p, k) in enumerate(zip(plates, cathodes)):
                left[p] += np.longdouble(means[d])
                left[k] -= np.longdouble(means[d])
                for e, (q, c) in enumerate(zip(plates, cathodes)):
                    g = slopes[d, e]
                    jacobian[p, q] += g
                    jacobian[p, c] -= g
                    jacobian[k, q] -= g
                    jacobian[k, c] += g
        return left[1:], jacobian[1:, 1:]

    def strike(self, v: Long) -> bool:
        """Strikes and puts out glow lamps by these volts; says whether any changed."""
        changed = False
        for at, e in enumerate(self.pairs):
            if e["law"] != "neon":
                continue
            volts = abs(float(v[e["a"]] - v[e["b"]]))
            lit = volts > e["numbers"]["hold"] if at in self.lit else volts >= e["numbers"]["strike"]
            if lit != (at in self.lit):
                changed = True
                self.lit ^= {at}
        return changed


def _valves(valves: Valves, v: Long, law: Any) -> Iterator[tuple[Any, Any, Any]]:
    *ends, cathode = valves.nodes
    across = [np.array(v[end] - v[cathode], dtype=float) for end in ends]
    slopes = []
    for moved in range(len(ends)):
        stepped = [x + 1j * laws.STEP * (at == moved) for at, x in enumerate(across)]
        # Set T is written plate, grid; set P plate, screen, grid: the order of the terminals.
        out = law(valves.numbers, *stepped)
        slopes.append([o.imag / laws.STEP for o in out])
    amps = [o.real for o in out]
    for at in range(valves.nodes.shape[1]):
        yield (
            [int(n) for n in valves.nodes[:, at]],
            [i[at] for i in amps],
            [[slopes[by][of][at] for by in range(len(ends))] for of in range(len(ends))],
        )


def _approach(circuit: Circuit, start: Long) -> tuple[Long, int]:
    """From `start` to where full Newton steps are sure: damped steps, and where those stall,
    some steps of pseudo-time before they are tried again. Rectifier groups are straight lines
    at first, because a cycle with every plate conducting all round is slow to solve."""
    v, steps = start, 0
    for rough in (True, False):
        if rough and not circuit.groups:
            continue
        circuit.rough = rough
        found = None
        # From where the straight lines end, no pseudo-time is needed first.
        pauses = (6, 12, 24, 48, 96, 400)
        if circuit.groups and not rough:
            pauses = (0, *pauses)
        for pause in pauses:
            v, more = _pseudo_time(circuit, v, pause)
            steps += more
            found, more = _damped(circuit, v)
            steps += more
            if found is not None:
                v = found
                break
        if found is None and not rough:
            raise NotSolved("damped and pseudo-time steps")
    return v, steps


def _damped(circuit: Circuit, start: Long) -> tuple[Long | None, int]:
    """Newton steps, each cut until the correction that would follow it (with the same matrix) is
    smaller than itself: the natural measure of Deuflhard, Newton Methods for Nonlinear
    Problems, 2004 (from memory, not seen), in which a node's ohms do not matter."""
    v = start
    left, jacobian = circuit.residual(v)
    for steps in range(1, 60):
        try:
            factors = lu_factor(jacobian, check_finite=True)
        except ValueError:
            return None, steps
        move = lu_solve(factors, -left.astype(float))
        size = float(np.linalg.norm(move))
        part = min(1.0, 200.0 / float(np.abs(move).max(initial=1e-300)))
        while True:
            trial = v.copy()
            trial[1:] += part * move
            try:
                trial_left, trial_jacobian = circuit.residual(trial)
                after = float(np.linalg.norm(lu_solve(factors, -trial_left.astype(float))))
            except NotSolved:
                after = np.inf
            if after <= (1.0 - 0.25 * part) * size or size < 1e-6:
                break
            part *= 0.5
            if part < 0.01:
                return None, steps
        v, left, jacobian = trial, trial_left, trial_jacobian
        if part == 1.0 and size < 1e-3:
            return v, steps
    return None, steps


def _pseudo_time(circuit: Circuit, start: Long, most: int) -> tuple[Long, int]:
    """Steps in which every node is charged through a conductance that fades as it settles."""
    v, hold, steps = start, 1e-1, 0
    left, jacobian = circuit.residual(v)
    for steps in range(1, most + 1):
        size = float(np.linalg.norm(left))
        held = jacobian + hold * np.eye(jacobian.shape[0])
        move = np.linalg.solve(held, -left.astype(float))
        trial = v.copy()
        trial[1:] += move
        try:
            trial_left, trial_jacobian = circuit.residual(trial)
        except NotSolved:
            hold *= 8.0
            continue
        # How far the step misses its own implicit equation says whether it was too long.
        missed = float(np.linalg.norm(trial_left.astype(float) + hold * move))
        if missed <= 0.3 * size and np.abs(move).max(initial=0.0) < 500.0:
            v, left, jacobian = trial, trial_left, trial_jacobian
            hold *= 0.1 if missed <= 0.03 * size else 0.4
            if hold < 1e-9:
                break
        else:
            hold *= 5.0
    return v, steps


def _finish(circuit: Circuit, v: Long) -> tuple[Long, Array, Array, int]:
    """Newton steps down to rounding: the volts, the Jacobian, the last correction."""
    v = v.copy()
    least = np.inf
    for steps in range(1, 60):
        left, jacobian = circuit.residual(v)
        inverse = np.linalg.inv(jacobian)
        move = _refined(jacobian, inverse, -left)
        v[1:] += move
        sure = np.abs(np.diag(inverse)) <= DETERMINED_OHMS
        last = float(np.abs(move[sure]).max(initial=0.0))
        if last < 1e-10 and last > 0.2 * least:
            return v, jacobian, np.abs(move).astype(float), steps
        if last < 1e-12:
            return v, jacobian, np.abs(move).astype(float), steps
        least = min(least, last)
    raise NotSolved(f"the last correction is {least:.1e} V")


def _refined(matrix: Array, inverse: Array, right: Long) -> Long:
    """A solution with two rounds of refinement in extended precision."""
    wide = matrix.astype(np.longdouble)
    x = (inverse @ right.astype(float)).astype(np.longdouble)
    for _ in range(2):
        x += (inverse @ (right - wide @ x).astype(float)).astype(np.longdouble)
    return x


def solve(equations: dict[str, Any]) -> Opinion:
    """Solves one case from nothing."""
    circuit = Circuit(equations)
    v: Long = np.zeros(circuit.count, dtype=np.longdouble)
    steps = 0
    for _ in range(1 + 2 * len(circuit.pairs)):
        v, more = _approach(circuit, v)
        v, jacobian, move, last = _finish(circuit, v)
        steps += more + last
        if not circuit.strike(v):
            break
    ohms = np.concatenate(([0.0], np.diag(np.linalg.inv(jacobian))))
    determined = np.abs(ohms) <= DETERMINED_OHMS
    return Opinion(
        volts=v.astype(np.float64),
        source_ohms=ohms,
        determined=determined,
        correction=float(move[determined[1:]].max(initial=0.0)),
        steps=steps,
        lit=[circuit.pairs[at]["name"] for at in sorted(circuit.lit)],
    )


def source_ohms_at(equations: dict[str, Any], volts: Array) -> Array:
    """Ohms from each node to ground at these volts, which are taken as they are."""
    circuit = Circuit(equations)
    v = volts.astype(np.longdouble)
    circuit.strike(v)
    _, jacobian = circuit.residual(v)
    return np.concatenate(([0.0], np.diag(np.linalg.inv(jacobian))))


def read_cases(path: str) -> list[dict[str, Any]]:
    """The cases of an exported file, one on each line."""
    with open(path, encoding="utf-8") as file:
        return [json.loads(line) for line in file if line.strip()]


def main() -> None:
    """Prints the volts of every case of the named files."""
    for path in sys.argv[1:]:
        for case in read_cases(path):
            opinion = solve(case["equations"])
            print(f"{path}: {case['case']}, {opinion.steps} steps")
            names = case["equations"]["nodes"]
            for name, volts, sure in zip(names, opinion.volts, opinion.determined):
                print(f"  {name:24} {volts:16.9f} V" if sure else f"  {name:24} undetermined")


if __name__ == "__main__":
    main()
