"""Holds the engine's cycles, which it finds by shooting, against cycles found here all at once.

    python in_cycle.py file.json

The file holds exported circuits that repeat themselves, with what the engine says of one cycle: watts
and harmonics in a loudspeaker, plate currents and dissipations, an oscillator's period. Here the
same circuit is a set of plain rates (`in_time.Rates`), and the whole cycle one set of equations: Radau IIA of fifth order on
even steps (Hairer and Wanner, Solving Ordinary Differential Equations II, from memory, not seen), closed upon
itself, every stage of every step corrected together by Newton's method. The number of steps is doubled until
the figures stand still. Nothing is stepped through, no step length is chosen, and rest is the
only start; an oscillator is swung up by scipy's BDF first.

With TUBEWRIGHT_LONG=1 scipy's own Radau integrator at 1e-10 goes through each cycle from where it was found to
begin, and must come back.

Prints a line for each circuit and exits with 1 if watts, currents or dissipations differ by more than 1e-4, distortion by
more than 1 % of itself, a frequency by more than 0.01 %.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

import laws
from in_time import TOLERANCE, Rates

Array = NDArray[np.float64]

ROOT = np.sqrt(6.0)
TIMES = np.array([(4.0 - ROOT) / 10.0, (4.0 + ROOT) / 10.0, 1.0])
"""When the three stages of a step stand."""
SHARES = np.array(
    [
        [(88.0 - 7.0 * ROOT) / 360.0, (296.0 - 169.0 * ROOT) / 1800.0, (-2.0 + 3.0 * ROOT) / 225.0],
        [(296.0 + 169.0 * ROOT) / 1800.0, (88.0 + 7.0 * ROOT) / 360.0, (-2.0 - 3.0 * ROOT) / 225.0],
        [(16.0 - ROOT) / 36.0, (16.0 + ROOT) / 36.0, 1.0 / 9.0],
    ]
)
"""What each stage takes of the rates of all three; the last row weighs them over the step."""

FIRST_STEPS = 192
MOST_STEPS = 6144
STANDS_STILL = 2e-6
"""Figures of twice the steps differ by no more than this part of themselves."""
SETTLED = 1e-8
"""A last correction moves no state by more volts or amperes; the next would by its square."""
RETURNS = 1e-7
"""How near to its beginning scipy's integrator must come back, as part of the widest swing of a state's kind."""

ACCEPTED = {"watts": 1e-4, "amperes": 1e-4, "dissipation": 1e-4, "distortion": 1e-2, "frequency": 1e-4}
"""Relative differences."""


@dataclass
class Cycle:
    """States at the stages (state, step, stage), and the period."""

    states: Array
    period: float

    def moments(self) -> Array:
        """Seconds of each stage."""
        steps = self.states.shape[1]
        return self.period * (np.arange(steps)[:, None] + TIMES) / steps

    def mean(self, values: Array) -> float:
        """Mean over the cycle of what stands at the stages."""
        return float((values @ SHARES[2]).mean())


def refine(cycle: Cycle, steps: int) -> Cycle:
    """The same cycle on other steps, along straight lines: a start."""
    size = cycle.states.shape[0]
    new = (np.arange(steps)[:, None] + TIMES).ravel() * cycle.period / steps
    old = cycle.moments().ravel()
    values = cycle.states.reshape(size, -1)
    # the last stage is the beginning of the next cycle
    old, values = np.concatenate([[0.0], old]), np.concatenate([values[:, -1:], values], axis=1)
    moved = np.array([np.interp(new, old, row) for row in values])
    return Cycle(moved.reshape(size, steps, 3), cycle.period)


def closed(rates: Rates, start: Cycle, free: bool) -> Cycle:
    """The cycle that meets the rule in every step and closes upon itself. `free`: nothing drives it, and its
    period is sought as well."""
    size, steps, _ = start.states.shape
    states, period = start.states.copy(), start.period
    identity = np.eye(3 * size)
    for _ in range(40):
        h = period / steps
        cycle = Cycle(states, period)
        flow = rates(cycle.moments(), states)
        begin = np.roll(states[:, :, 2], 1, axis=1)
        miss = states - begin[:, :, None] - h * np.einsum("ij,nkj->nki", SHARES, flow)
        slopes = rates.slopes(cycle.moments(), states)
        # per step: unknowns are stage by stage, state within stage
        blocks = np.einsum("ij,nmkj->kinjm", SHARES, slopes).reshape(steps, 3 * size, 3 * size)
        matrix = identity - h * blocks
        right = np.zeros((steps, 3 * size, size + 2))
        right[:, :, :size] = np.tile(np.eye(size), (3, 1))
        right[:, :, size] = -miss.transpose(1, 2, 0).reshape(steps, 3 * size)
        # what a longer period does
        right[:, :, size + 1] = np.einsum("ij,nkj->kin", SHARES, flow).reshape(steps, 3 * size) / steps
        answer = np.linalg.solve(matrix, right)
        last = answer[:, 2 * size :, :]
        carried, rest, longer = np.eye(size), np.zeros(size), np.zeros(size)
        for step in range(steps):
            by = last[step, :, :size]
            carried = by @ carried
            rest = by @ rest + last[step, :, size]
            longer = by @ longer + last[step, :, size + 1]
        if free:
            # its beginning moves across its own way only
            way = flow[:, -1, 2] / np.linalg.norm(flow[:, -1, 2])
            equations = np.block([[np.eye(size) - carried, -longer[:, None]], [way[None, :], np.zeros((1, 1))]])
            found = np.linalg.solve(equations, np.concatenate([rest, [0.0]]))
            move, later = found[:size], float(found[size])
        else:
            move, later = np.linalg.solve(np.eye(size) - carried, rest), 0.0
        moves = np.empty_like(states)
        for step in range(steps):
            own = answer[step] @ np.concatenate([move, [1.0, later]])
            moves[:, step, :] = own.reshape(3, size).T
            move = own[2 * size :]
        largest = np.abs(moves).max()
        part = min(1.0, 60.0 / largest)
        states += part * moves
        period += part * np.clip(later, -0.1 * period, 0.1 * period)
        if largest < SETTLED and abs(later) < 1e-11 * period:
            return Cycle(states, period)
    raise RuntimeError("no cycle was found")


def swung_up(rates: Rates, rest: Array, period: float) -> Cycle:
    """An oscillator let run from a push until it swings, one period of it on coarse steps."""
    pushed = rest.copy()
    pushed[rates.nodes - 2] -= 2.0
    run = solve_ivp(
        rates, (0.0, 30.0 * period), pushed, "BDF", jac=rates.slopes, rtol=1e-5, atol=1e-6, dense_output=True,
    )  # fmt: skip
    if not run.success:
        raise RuntimeError(run.message)
    # the period by its own last two rises through the mean
    t = np.linspace(20.0 * period, 30.0 * period, 20001)
    wave = run.sol(t)[rates.nodes - 2]
    up = np.flatnonzero((wave[:-1] < wave.mean()) & (wave[1:] >= wave.mean()))
    begin, own = t[up[-2]], t[up[-1]] - t[up[-2]]
    moments = begin + (np.arange(FIRST_STEPS)[:, None] + TIMES) * own / FIRST_STEPS
    return Cycle(run.sol(moments.ravel()).reshape(rest.size, FIRST_STEPS, 3), own)


def found(case: dict[str, Any]) -> tuple[Rates, Cycle, bool]:
    """The case's cycle, on steps that no longer matter."""
    rates = Rates(case["whole"], case["constants"])
    rest = rates.start(case["volts"])
    free = not rates.sines
    if free:
        cycle = closed(rates, swung_up(rates, rest, case["period"]), free)
    else:
        period = 2.0 * np.pi / rates.omega
        cycle = Cycle(np.tile(rest[:, None, None], (1, FIRST_STEPS, 3)), period)
        whole = rates.sines
        for part in (0.25, 0.5, 0.75, 1.0):
            rates.sines = [(a, b, part * peak) for a, b, peak in whole]
            cycle = closed(rates, cycle, free)
    before = figures(case, rates, cycle)
    while True:
        steps = 2 * cycle.states.shape[1]
        cycle = closed(rates, refine(cycle, steps), free)
        now = figures(case, rates, cycle)
        if all(abs(now[key] / before[key] - 1.0) < STANDS_STILL for key in now if key[0] != "distortion"):
            return rates, cycle, free
        if steps >= MOST_STEPS:
            raise RuntimeError("the figures do not stand still")
        before = now


def figures(case: dict[str, Any], rates: Rates, cycle: Cycle) -> dict[tuple[str, str], float]:
    """What a cycle holds: kind and name of each figure."""
    told = {("frequency", ""): 1.0 / cycle.period}
    if "load" in case:
        load = case["load"]
        volts = cycle.states[load["node"] - 1]
        told["watts", ""] = cycle.mean(volts * volts) / load["ohms"]
        turn = 2j * np.pi / cycle.period * cycle.moments()
        size = [abs(cycle.mean(volts * np.exp(-k * turn).real) - 1j * cycle.mean(volts * np.exp(k * turn).imag)) for k in range(1, 21)]
        told["distortion", ""] = float(np.sqrt(np.sum(np.square(size[1:])))) / size[0]
    everywhere = np.concatenate([np.zeros_like(cycle.states[:1]), cycle.states[: rates.nodes - 1]])
    valves = [e for e in case["whole"]["elements"] if e["law"] in ("triode", "pentode")]
    for at, e in enumerate(valves):
        ends = [e["plate"], e["grid"]] if e["law"] == "triode" else [e["plate"], e["screen"], e["grid"]]
        across = [everywhere[end] - everywhere[e["cathode"]] for end in ends]
        plate = (laws.triode if e["law"] == "triode" else laws.pentode)(e["numbers"], *across)[0]
        told["amperes", str(at)] = cycle.mean(plate)
        told["dissipation", str(at)] = cycle.mean(plate * across[0])
    return told


def engine(case: dict[str, Any]) -> dict[tuple[str, str], float]:
    """The same as the engine tells it."""
    told = {("frequency", ""): 1.0 / case["period"]}
    if "load" in case:
        told["watts", ""] = case["load"]["watts"]
        told["distortion", ""] = case["load"]["distortion"]
    for at, valve in enumerate(case["valves"]):
        told["amperes", str(at)] = valve["plate_amps"]
        told["dissipation", str(at)] = valve["plate_watts"]
    return told


def comes_back(rates: Rates, cycle: Cycle) -> float:
    """How far scipy's integrator ends from where the cycle begins, over the widest swing."""
    begin = cycle.states[:, -1, 2]
    run = solve_ivp(
        rates, (0.0, cycle.period), begin, "Radau", jac=rates.slopes, rtol=TOLERANCE, atol=TOLERANCE,
        max_step=cycle.period / 400.0,
    )  # fmt: skip
    if not run.success:
        raise RuntimeError(run.message)
    volts = slice(0, rates.nodes - 1)
    wide = np.ptp(cycle.states[volts].reshape(rates.nodes - 1, -1), axis=1).max()
    return float(np.abs(run.y[volts, -1] - begin[volts]).max() / wide)


def judged(case: dict[str, Any], long: bool) -> bool:
    """Prints a line; do both agree?"""
    rates, cycle, _ = found(case)
    here, there = figures(case, rates, cycle), engine(case)
    apart: dict[str, float] = {}
    for (kind, name), value in here.items():
        own = abs(there[kind, name] / value - 1.0)
        apart[kind] = max(apart.get(kind, 0.0), own)
    agree = all(value <= ACCEPTED[kind] for kind, value in apart.items())
    words = ", ".join(f"{kind} {value:.0e}" for kind, value in apart.items() if value > 0.0)
    print(f"in a cycle: {case['case']}: {words} apart; {cycle.states.shape[1]} steps; agree: {'yes' if agree else 'NO'}")
    if long:
        far = comes_back(rates, cycle)
        print(f"  scipy's Radau comes back within {far:.0e} of the widest swing: {'yes' if far <= RETURNS else 'NO'}")
        agree = agree and far <= RETURNS
    return agree


def main() -> int:
    """Compares the named file; the exit status."""
    with open(sys.argv[1], encoding="utf-8") as file:
        cases = json.load(file)
    long = bool(os.environ.get("TUBEWRIGHT_LONG"))
    # all of them, so that each line is seen
    return 0 if all([judged(case, long) for case in cases]) else 1


if __name__ == "__main__":
    sys.exit(main())
