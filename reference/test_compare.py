"""Checks that the comparison can fail."""

from __future__ import annotations

import unittest
from typing import Any

from compare import compare
from second_opinion import solve


def case(move: float, loose_ohms: float = 1e10) -> dict[str, Any]:
    """A divider with a loose node, the engine's volts of its middle moved."""
    branches = [(1, 0, 1.0, 300.0), (1, 2, 1e5, 0.0), (2, 0, 1e5, 0.0), (2, 3, 1e10, 0.0)]
    equations: dict[str, Any] = {
        "nodes": ["ground", "top", "middle", "loose"],
        "constants": {
            "cycle_steps": 360, "least_decay": 1e-4, "floor_siemens": 1e-13,
            "leak_siemens": 1e-12, "amplifier_ohms": 1e-6,
        },
        "elements": [
            {"name": f"R{at}", "law": "branch", "a": a, "b": b, "ohms": ohms, "volts": volts}
            for at, (a, b, ohms, volts) in enumerate(branches)
        ],
    }  # fmt: skip
    opinion = solve(equations)
    volts = opinion.volts.copy()
    volts[2] += move
    ohms = opinion.source_ohms.copy()
    ohms[3] = loose_ohms
    return {
        "case": "divider", "converged": True, "status": "", "lit": [],
        "equations": equations | {"volts": list(volts)}, "source_ohms": list(ohms),
    }  # fmt: skip


class Verdicts(unittest.TestCase):
    """What passes and what does not."""

    def test_the_same_passes(self) -> None:
        self.assertEqual(compare(("board", case(0.0))).trouble, "")

    def test_two_microvolts_fail(self) -> None:
        self.assertIn("apart at middle", compare(("board", case(2e-6))).trouble)
        self.assertEqual(compare(("board", case(0.5e-6))).trouble, "")

    def test_a_loose_node_called_sure_fails(self) -> None:
        self.assertIn("undetermined: loose", compare(("board", case(0.0, 5e8))).trouble)

    def test_what_the_engine_did_not_solve_fails(self) -> None:
        self.assertIn("no solution", compare(("board", case(0.0) | {"converged": False})).trouble)


if __name__ == "__main__":
    unittest.main()
