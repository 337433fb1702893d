"""Compares the engine's operating points with the second opinion, case by case.

    python compare.py [--all] file.json ...

Each file holds the exported cases of one circuit. Prints one line for each circuit (with
`--all` one for each case), and exits with 1 if any case differs: by more than a microvolt at a
node that has volts of its own, in which nodes have none, in which glow lamps are lit, or in
that one side found no solution.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cycle import NotSolved
from second_opinion import DETERMINED_OHMS, read_cases, solve, source_ohms_at

ACCEPTED_VOLTS = 1e-6
"""Accepted difference at a determined node."""

ACCEPTED_OHMS = 1e-2
"""Accepted relative difference of a source resistance below a tenth of the limit, which it
serves to hold against that limit. 1e-8 is usual; but an ideal diode at no volts goes from
nothing to 1000 S within a millivolt, so that nanovolts show there (8e-4 was seen)."""


@dataclass
class Found:
    """The comparison of one case."""

    circuit: str
    case: str
    nodes: int
    undetermined: int
    volts: float
    """Worst difference at a determined node."""
    node: str
    """Where that is."""
    ohms: float
    """Worst relative difference of a source resistance."""
    steps: int
    trouble: str
    """Why the case fails; empty if it does not."""


def compare(work: tuple[str, dict[str, Any]]) -> Found:
    """Compares one case."""
    circuit, case = work
    equations = case["equations"]
    names: list[str] = equations["nodes"]
    found = Found(circuit, case["case"], len(names), 0, np.nan, "", np.nan, 0, "")
    if not case["converged"]:
        found.trouble = f"the engine found no solution: {case['status']}"
        return found
    try:
        opinion = solve(equations)
    except NotSolved as reason:
        found.trouble = f"the second opinion found no solution: {reason}"
        return found
    ohms = np.array([np.inf if o is None else o for o in case["source_ohms"]])
    determined = np.abs(ohms) <= DETERMINED_OHMS
    found.undetermined = int((~opinion.determined).sum())
    found.steps = opinion.steps
    both = determined & opinion.determined
    apart = np.where(both, np.abs(opinion.volts - np.array(equations["volts"])), 0.0)
    worst = int(np.argmax(apart))
    found.volts, found.node = float(apart[worst]), names[worst]
    sure = np.abs(opinion.source_ohms) < 0.1 * DETERMINED_OHMS
    sure &= opinion.source_ohms != 0.0
    found.ohms = furthest(ohms[sure], opinion.source_ohms[sure])
    if found.ohms > ACCEPTED_OHMS:
        # An ideal diode begins without slope: where no current flows, ohms may hang on less than
        # the accepted volts. Such nodes are known by this side alone, and their ohms not judged.
        sure &= ~unsteady(equations, opinion.volts, opinion.source_ohms)
        found.ohms = furthest(ohms[sure], opinion.source_ohms[sure])
    other = [n for n, a, b in zip(names, determined, opinion.determined) if a != b]
    if not found.volts <= ACCEPTED_VOLTS:
        found.trouble = f"{found.volts:.1e} V apart at {found.node}"
    elif other:
        found.trouble = f"only one side calls undetermined: {', '.join(other)}"
    elif sorted(opinion.lit) != sorted(case["lit"]):
        found.trouble = f"lit here {opinion.lit}, there {case['lit']}"
    elif not found.ohms <= ACCEPTED_OHMS:
        found.trouble = f"source resistances {found.ohms:.1e} apart"
    return found


def furthest(ohms: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Worst relative difference."""
    return float(np.abs(ohms / other - 1.0).max(initial=0.0))


def unsteady(
    equations: dict[str, Any], volts: NDArray[np.float64], ohms: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Nodes whose ohms change by more than is accepted when all nodes move by a part of the
    accepted volts, to and fro."""
    moves = np.random.default_rng(1).uniform(-1e-3, 1e-3, (8, len(volts))) * ACCEPTED_VOLTS
    moves[:, 0] = 0.0
    other = np.array([source_ohms_at(equations, volts + move) for move in moves])
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.abs(other / ohms - 1.0).max(axis=0) > ACCEPTED_OHMS


def line(name: str, cases: int, group: list[Found]) -> str:
    """One line of the table: the worst of a group of cases."""
    solved = [f for f in group if np.isfinite(f.volts)]
    worst = max(solved, key=lambda f: f.volts, default=group[0])
    agree = "yes" if all(not f.trouble for f in group) else "NO"
    nodes = max(f.nodes for f in group)
    none = max(f.undetermined for f in group)
    ohms = max((f.ohms for f in solved), default=np.nan)
    steps = max(f.steps for f in group)
    figures = f"{cases:5} {nodes:5} {none:6} {worst.volts:9.1e} {ohms:9.1e} {steps:5}"
    return f"{name[:34]:34} {figures}  {agree}"


def main() -> int:
    """Compares all cases of the named files; the exit status."""
    words = sys.argv[1:]
    every = "--all" in words
    paths = [Path(w) for w in words if w != "--all"]
    work = [(p.stem, case) for p in paths for case in read_cases(str(p))]
    if not work:
        print("No case to compare.", file=sys.stderr)
        return 1
    with multiprocessing.Pool(os.cpu_count()) as pool:
        found = pool.map(compare, work, chunksize=1)
    head = f"{'cases':>5} {'nodes':>5} {'undet.':>6} {'volts':>9} {'ohms':>9} {'steps':>5}  agree"
    print(f"{'circuit':34} {head}")
    for path in paths:
        group = [f for f in found if f.circuit == path.stem]
        if not group:
            print(f"{path.stem}: no case", file=sys.stderr)
            return 1
        if every:
            for one in group:
                print(line(f"{one.circuit}, {one.case}", 1, [one]))
        print(line(path.stem, len(group), group))
    print("volts: worst difference at a node with volts of its own; ohms: worst relative")
    print("difference of a source resistance; undet.: most nodes without volts of their own")
    failures = [f for f in found if f.trouble]
    for failure in failures:
        print(f"{failure.circuit}, {failure.case}: {failure.trouble}", file=sys.stderr)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
