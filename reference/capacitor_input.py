"""Capacitor-input rectifiers solved exactly: ideal diodes, a resistance for each plate, one capacitor, one resistance.

While a plate conducts the volts are an exponential and a sine, while none does an exponential; the angles at which
conduction begins and ends are the roots of what closes the cycle. Run by hand:

    python reference/capacitor_input.py >crates/solve/tests/data/capacitor_input_exact.toml

The engine's tests hold its steady volts, ripple, peak and rms current against these, row by row, and the printed
rows of crates/solve/data/capacitor_input.toml beside them.
"""

import pathlib
import tomllib

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

ROWS = pathlib.Path(__file__).parent.parent / "crates/solve/data/capacitor_input.toml"


def first_fall(function, angles):
    """Where the function first falls through nought, between two of the angles."""
    values = np.array([function(angle) for angle in angles])
    at = np.argmax((values[:-1] > 0) & (values[1:] <= 0))
    return brentq(function, angles[at], angles[at + 1], xtol=1e-15)


def solve(full_wave, omega_c_rl, rs):
    """Volts over peak, ripple per cent, peak and rms current of a plate over its mean; load and peak are 1."""
    decay, drive = (1 + 1 / rs) / omega_c_rl, 1 / (rs * omega_c_rl)
    period = np.pi if full_wave else 2 * np.pi

    def forced(angle):
        return drive * (decay * np.sin(angle) - np.cos(angle)) / (decay * decay + 1)

    def conducting(begin):
        free = np.sin(begin) - forced(begin)

        def volts(angle):
            return free * np.exp(-decay * (angle - begin)) + forced(angle)

        angles = np.linspace(begin + 1e-9, np.pi, 4001)
        return first_fall(lambda angle: np.sin(angle) - volts(angle), angles), volts

    def miss(begin):
        end, volts = conducting(begin)
        return volts(end) * np.exp(-(begin + period - end) / omega_c_rl) - np.sin(begin)

    begin = first_fall(miss, np.linspace(1e-6, np.pi / 2 - 1e-6, 801))
    end, volts = conducting(begin)

    def emptying(angle):
        return volts(end) * np.exp(-(angle - end) / omega_c_rl)

    def amps(angle):
        return (np.sin(angle) - volts(angle)) / rs

    def over(function, start, stop):
        return quad(function, start, stop, epsabs=1e-14, epsrel=1e-13, limit=200)[0]

    def mean(on, off):
        return (over(on, begin, end) + over(off, end, begin + period)) / period

    steady = mean(volts, emptying)
    ripple = mean(lambda a: (volts(a) - steady) ** 2, lambda a: (emptying(a) - steady) ** 2)
    mean_amps = over(amps, begin, end) / (2 * np.pi)
    rms_amps = np.sqrt(over(lambda a: amps(a) ** 2, begin, end) / (2 * np.pi))
    peak = amps(np.linspace(begin, end, 100_001)).max()
    return steady, 100 * np.sqrt(ripple) / steady, peak / mean_amps, rms_amps / mean_amps


def main():
    print("# Made by reference/capacitor_input.py: the rows of data/capacitor_input.toml, in their order, solved exactly.")
    print("row = [")
    for row in tomllib.loads(ROWS.read_text())["row"]:
        found = solve(row["full_wave"], row["omega_C_RL"], row["Rs_over_RL"])
        names = ("vdc_over_vpeak", "ripple_rms_pct", "peak_over_mean_per_plate", "rms_over_mean_per_plate")
        print(" {" + ", ".join(f"{name}={value:.7g}" for name, value in zip(names, found)) + "},")
    print("]")


if __name__ == "__main__":
    main()
