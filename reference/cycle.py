"""One mains cycle of a rectifier group, solved harmonic by harmonic.

The rule of the group is: departures of the plate currents from their means act through
resistances, and through stores that follow a two-step backward difference round the cycle. That
rule is the same at every angle, so in harmonics it is one small impedance matrix each; the
matrix of the whole cycle is block-circulant. Newton's method with a dense (LAPACK) matrix over
the angles at which something conducts then finds the volts across every plate at every angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

import laws

Array = NDArray[np.float64]


WAVE_OHMS = 30.0
"""Resistance by which volts and currents are taken together; near a winding's own."""


class NotSolved(Exception):
    """A cycle whose equations were not met."""


@dataclass
class Group:
    """Plates that the mains drive, as exported."""

    plates: list[dict[str, Any]]
    emf: Array
    """Volts by plate and angle with all plates open, without the steady volts."""
    impedance: NDArray[np.complex128]
    """By harmonic: volts across plate (row) per ampere through plate (column); harmonic 0 is 0."""
    returned: NDArray[np.complex128]
    """By harmonic: the waves that a shortfall in volts stands for."""
    matrix: Array
    """The impedance less `WAVE_OHMS` for the whole cycle: plate and angle by plate and angle."""
    last: tuple[Array, Array] | None = None
    """Steady volts and waves of the last solution."""

    @staticmethod
    def read(element: dict[str, Any], constants: dict[str, float]) -> Group:
        """From the exported element."""
        steps = int(constants["cycle_steps"])
        decay = constants["least_decay"]
        plates = element["plates"]
        stores = element["stores"]
        count = len(plates)
        hertz = element["hertz"]
        h = 1.0 / (hertz * steps)
        rates = np.array([s["rates"] for s in stores]).reshape(len(stores), len(stores))
        charge = np.array([s["charge"] for s in stores]).reshape(len(stores), count)
        reach = np.array([s["reach"] for s in stores]).reshape(len(stores), count)
        ohms = np.array(element["ohms"]).reshape(count, count)
        angles = 2.0 * np.pi * np.arange(steps) / steps
        harmonics = steps // 2 + 1
        impedance = np.zeros((harmonics, count, count), dtype=complex)
        for k in range(1, harmonics):
            delay = np.exp(-1j * 2.0 * np.pi * k / steps)
            rise = (3.0 - 4.0 * delay + delay * delay) / (2.0 * h)
            own = (rise + decay) * np.eye(len(stores)) - rates
            impedance[k] = ohms + reach.T @ np.linalg.solve(own, charge)
        response = np.fft.irfft(impedance, n=steps, axis=0)
        matrix = np.empty((count, steps, count, steps))
        delays = (np.arange(steps)[:, None] - np.arange(steps)[None, :]) % steps
        for row in range(count):
            for column in range(count):
                matrix[row, :, column, :] = response[delays, row, column]
        emf = np.array([p["emf_peak"] * np.cos(angles + p["phase"]) for p in plates])
        whole = matrix.reshape(count * steps, count * steps)
        whole -= WAVE_OHMS * np.eye(count * steps)
        returned = 2.0 * WAVE_OHMS * np.linalg.inv(impedance + WAVE_OHMS * np.eye(count))
        return Group(plates, emf, impedance, returned, whole)

    def behind(self, waves: Array) -> tuple[Array, Array]:
        """Currents, and their slopes, where each plate stands behind `WAVE_OHMS` at an emf of
        `waves`, by plate and angle."""
        amps, slopes = np.empty_like(waves), np.empty_like(waves)
        for row, plate in enumerate(self.plates):
            forward, numbers = plate["diode"]["forward"], plate["diode"]["numbers"]
            if forward == "junction" and "zener" not in numbers:
                ohms = max(numbers["ohms"], 1e-6) + WAVE_OHMS
                both = laws.junction(
                    waves[row] + 1j * laws.STEP, numbers["saturation"], numbers["volts"], ohms
                )
                amps[row], slopes[row] = both.real, both.imag / laws.STEP
            else:
                amps[row], slopes[row] = _behind(forward, numbers, waves[row])
        return amps, slopes

    def network(self, amps: Array) -> Array:
        """Volts that departures of the currents from their means take."""
        spectrum = np.fft.rfft(amps, axis=1)
        return np.fft.irfft(
            np.einsum("kde,ek->dk", self.impedance, spectrum), n=amps.shape[1], axis=1
        )

    def mean_currents(self, across: Array) -> tuple[Array, Array]:
        """Mean current of each plate at the steady volts across each, and the slopes."""
        target = self.emf + across[:, None]
        starts = [target]
        if self.last is not None:
            starts.insert(0, self.last[1] + (across - self.last[0])[:, None])
        for waves in starts:
            found = self._newton(waves, target)
            if found is not None:
                waves, amps, slopes = found
                self.last = (across.copy(), waves)
                return amps.mean(axis=1), self._slopes(slopes)
        raise NotSolved(f"rectifiers at steady volts {across}")

    def rough_currents(self, across: Array) -> tuple[Array, Array]:
        """Each plate by itself as a straight line that bends at nine tenths of its peak."""
        ohms = 20.0 + 4.0 * np.minimum(np.abs(np.diagonal(self.impedance[-1])), 1e3)
        over = across + 0.9 * np.abs(self.emf).max(axis=1) + 1j * laws.STEP
        amps = laws.positive(over) / ohms
        return amps.real, np.diag(amps.imag / laws.STEP)

    def cycle(self, across: Array) -> tuple[Array, Array]:
        """Volts and currents of the whole cycle."""
        self.mean_currents(across)
        assert self.last is not None
        amps = self.behind(self.last[1])[0]
        return self.last[1] - WAVE_OHMS * amps, amps

    def _newton(self, waves: Array, target: Array) -> tuple[Array, Array, Array] | None:
        """Newton's method on the waves `volts + WAVE_OHMS amps`. The shortfall is measured as
        the waves that the network sends back: a passive network never enlarges those, however
        many megohms an open diode leaves in it."""
        shape = waves.shape
        scale = 1.0 + float(np.abs(target).max())
        amps, slopes = self.behind(waves)
        short = waves - WAVE_OHMS * amps - target + self.network(amps)
        size = self._size(short)
        for _ in range(100):
            move = self._solve(slopes, -short).reshape(shape)
            part = 1.0
            while True:
                trial = waves + part * move
                trial_amps, trial_slopes = self.behind(trial)
                trial_short = trial - WAVE_OHMS * trial_amps - target + self.network(trial_amps)
                trial_size = self._size(trial_short)
                if trial_size <= (1.0 - 1e-4 * part) * size or part < 1e-6:
                    break
                part *= 0.5
            moved = part * float(np.abs(move).max())
            if part < 1e-6:
                # Down at the rounding of the equations, or stuck.
                return (waves, amps, slopes) if size < 1e-11 * scale else None
            waves, amps, slopes, short, size = (
                trial,
                trial_amps,
                trial_slopes,
                trial_short,
                trial_size,
            )
            if moved < 1e-10 * scale:
                # What is left is the square of this.
                return waves, amps, slopes
        return None

    def _size(self, short: Array) -> float:
        """Root mean square of a shortfall, as waves."""
        spectrum = np.einsum("kde,ek->dk", self.returned, np.fft.rfft(short, axis=1))
        waves = np.fft.irfft(spectrum, n=short.shape[1], axis=1)
        return float(np.sqrt(np.mean(waves * waves)))

    def _solve(self, slopes: Array, right: Array) -> Array:
        """`(1 + (C - WAVE_OHMS) G) x = right`; where nothing conducts the columns are the
        identity's, so only the others need solving."""
        g, x = slopes.ravel(), right.reshape(slopes.size, -1)
        on = np.flatnonzero(g > 1e-13)
        inner = np.eye(on.size) + self.matrix[np.ix_(on, on)] * g[on]
        moved = np.linalg.solve(inner, x[on])
        x = x - self.matrix[:, on] @ (g[on, None] * moved)
        x[on] = moved
        return x

    def _slopes(self, slopes: Array) -> Array:
        """Slopes of the mean currents; those of the waves with the steady volts come first."""
        count, steps = slopes.shape
        right = np.zeros((count, steps, count))
        for plate in range(count):
            right[plate, :, plate] = 1.0
        moved = self._solve(slopes, right.reshape(count * steps, count)).reshape(count, steps, count)
        return np.einsum("dj,dje->de", slopes, moved) / steps


def _behind(forward: str, numbers: laws.Numbers, waves: Array) -> tuple[Array, Array]:
    """Currents of any law behind `WAVE_OHMS`, and their slopes, by bracketed Newton steps."""
    low, high = np.minimum(waves, 0.0), np.maximum(waves, 0.0)
    volts = waves.copy()
    for _ in range(200):
        both = laws.conduction(forward, numbers, volts + 1j * laws.STEP)
        amps, slopes = both.real, both.imag / laws.STEP
        excess = volts + WAVE_OHMS * amps - waves
        high, low = np.where(excess > 0.0, volts, high), np.where(excess > 0.0, low, volts)
        after = volts - excess / (1.0 + WAVE_OHMS * slopes)
        after = np.where((after >= low) & (after <= high), after, 0.5 * (low + high))
        moved = np.abs(after - volts) > 1e-15 * np.abs(waves)
        volts = after
        if not moved.any():
            break
    both = laws.conduction(forward, numbers, volts + 1j * laws.STEP)
    slopes = both.imag / laws.STEP
    return both.real, slopes / (1.0 + WAVE_OHMS * slopes)
