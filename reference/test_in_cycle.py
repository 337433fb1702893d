"""Checks of the cycles found all at once, and that the comparison can fail."""

from __future__ import annotations

import contextlib
import io
import math
import unittest
from typing import Any

from in_cycle import figures, found, judged


def low_pass() -> dict[str, Any]:
    """10 V r.m.s. of 50 Hz behind 1 ohm, then 9,999 ohm and 1 uF; the loudspeaker is a megohm."""
    capacitor = {"law": "capacitor", "b": 0, "esr_ohms": 0.0}
    ohms, load, farads = 1e4, 1e6, 1e-6
    together = load / (1.0 + 2j * math.pi * 50.0 * farads * load)
    volts = 10.0 * abs(together / (together + ohms))
    return {
        "case": "low pass",
        "volts": [0.0, 0.0, 0.0],
        "constants": {"floor_siemens": 1e-13, "leak_siemens": 1e-12},
        "period": 0.02,
        "load": {"node": 2, "ohms": load, "watts": volts * volts / load, "distortion": 0.0},
        "valves": [],
        "whole": {
            "nodes": ["ground", "top", "middle"],
            "hertz": 50.0,
            "elements": [
                {"law": "alternating", "a": 1, "b": 0, "volts": 10.0, "ohms": 1.0},
                {"law": "branch", "a": 1, "b": 2, "ohms": 9999.0, "volts": 0.0},
                {"law": "branch", "a": 2, "b": 0, "ohms": load, "volts": 0.0},
                {**capacitor, "a": 1, "farads": 1e-12},
                {**capacitor, "a": 2, "farads": farads},
            ],
        },
    }


class InCycle(unittest.TestCase):
    """A closed form, and an engine that is not it."""

    def test_a_low_pass_is_the_closed_form(self) -> None:
        case = low_pass()
        rates, cycle, free = found(case)
        self.assertFalse(free)
        told = figures(case, rates, cycle)
        self.assertAlmostEqual(told["watts", ""] / case["load"]["watts"], 1.0, delta=1e-7)
        self.assertLess(told["distortion", ""], 1e-7)

    def test_moved_watts_are_seen(self) -> None:
        case = low_pass()
        case["load"]["distortion"] = 1e-30
        case["load"]["watts"] *= 1.0002
        with contextlib.redirect_stdout(io.StringIO()) as line:
            self.assertFalse(judged(case, long=False))
        self.assertIn("watts 2e-04", line.getvalue())
        self.assertIn("agree: NO", line.getvalue())


if __name__ == "__main__":
    unittest.main()
