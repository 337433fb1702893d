"""Checks of the rates, and that the comparison in time can fail."""

from __future__ import annotations

import math
import unittest
from typing import Any

from in_time import ACCEPTED, apart


def charging(move: float) -> dict[str, Any]:
    """A capacitor that charges through 10 kohm, the last moment moved."""
    moments = []
    for t in (1e-6, 1e-5, 1e-4):
        # the source's own capacitance is next to nothing
        moments.append({"seconds": t, "volts": [0.0, 0.0, 0.0]})
        moments[-1]["volts"][1] = 10.0
        moments[-1]["volts"][2] = 10.0 * (1.0 - math.exp(-t / 1e-4))
    moments[-1]["volts"][2] += move
    branch = {"law": "branch", "volts": 0.0}
    capacitor = {"law": "capacitor", "b": 0, "esr_ohms": 0.0}
    return {
        "volts": [0.0, 0.0, 0.0],
        "constants": {"floor_siemens": 1e-13, "leak_siemens": 1e-12},
        "moments": moments,
        "whole": {
            "nodes": ["ground", "top", "middle"],
            "hertz": 0.0,
            "elements": [
                {**branch, "a": 1, "b": 0, "ohms": 1e-3, "volts": 10.0},
                {**branch, "a": 1, "b": 2, "ohms": 1e4},
                {**capacitor, "a": 1, "farads": 1e-12},
                {**capacitor, "a": 2, "farads": 1e-8},
            ],
        },
    }


class InTime(unittest.TestCase):
    """A closed form, and a wave that is not it."""

    def test_a_charging_capacitor_is_the_closed_form(self) -> None:
        worst, _ = apart(charging(0.0))
        self.assertLess(worst, 1e-6)

    def test_a_moved_moment_is_seen(self) -> None:
        worst, node = apart(charging(3e-3))
        self.assertGreater(worst, ACCEPTED)
        self.assertEqual(node, "middle")


if __name__ == "__main__":
    unittest.main()
