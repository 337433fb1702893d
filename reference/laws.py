"""The laws of valves, diodes and lamps, written afresh from their equations.

Every law takes volts against the cathode (or across its two ends) and gives amperes. All work
on numpy arrays, and on complex arrays whose imaginary part is a tiny step: the imaginary part
of the result over that step is then the slope, exact to rounding (the complex step of Squire
and Trapp, SIAM Review 40, 1998; from memory, not seen). So no slope is derived by hand here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

Array = NDArray[np.float64]
Numbers = dict[str, float]

STEP = 1e-30
"""The imaginary step: its square is nothing beside 1."""

SLIVER = 1e-9
"""Keeps the division of positive parts away from 0 / 0, volts."""


def _dual(value: NDArray, slope: NDArray, z: NDArray) -> NDArray:
    """A function's value at the real part of `z`, its slope on the imaginary part."""
    return value + 1j * slope * z.imag if np.iscomplexobj(z) else value


def softplus(z: NDArray) -> NDArray:
    """`ln(1 + e^z)`, without overflow."""
    x = np.clip(np.real(z), -600.0, None)
    value = np.logaddexp(0.0, x)
    slope = np.exp(-np.logaddexp(0.0, -x))
    return _dual(value, slope, z)


def power(base: NDArray, exponent: NDArray | float) -> NDArray:
    """`base ** exponent` for a base from 0 up: a cold valve has no scale at all."""
    x = np.maximum(np.real(base), 1e-200)
    return _dual(x**exponent, exponent * x ** (exponent - 1.0), base)


def root(z: NDArray) -> NDArray:
    """The square root of a number above 0."""
    return power(z, 0.5)


def positive(v: NDArray, width: NDArray | float = 0.5) -> NDArray:
    """The positive part of `v` with a smooth knee of `width` volts."""
    return width * softplus(v / width)


def triode(p: dict[str, Array], va: NDArray, vg: NDArray) -> tuple[NDArray, NDArray]:
    """Equation set T: plate and grid current."""
    a = positive(va)
    w = root(p["w0"] ** 2 + (p["w1"] * a) ** 2)
    e = w * softplus((vg + p["v0"] * a / (a + p["vb"]) + va / p["mu"]) / w)
    space = p["k"] * power(e, p["x"])
    g = positive(vg - p["vg0"], p["wg"])
    share = g / (g + p["d"] * (a + SLIVER))
    return (1.0 - share) * space, share * space


def pentode(
    p: dict[str, Array], va: NDArray, v2: NDArray, v1: NDArray
) -> tuple[NDArray, NDArray, NDArray]:
    """Equation set P: plate, screen and control-grid current."""
    screen, plate = positive(v2), positive(va)
    w = root(p["w0"] ** 2 + (p["w1"] * screen) ** 2)
    e = w * softplus((v1 + (v2 + p["lam"] * va) / p["mu"]) / w)
    space = p["k"] * power(e, p["x"])
    knee = p["vmin"] + p["v1"] * power(space / 0.1, 2.0 / 3.0)
    u = plate / knee
    accepted = u * power(1.0 + power(u, p["n"]), -1.0 / p["n"])
    caught = p["s"] * (1.0 + p["m"] * (screen - plate) / (screen + plate + SLIVER))
    cathode = space * (p["r0"] + (1.0 - p["r0"]) * accepted)
    g = positive(v1 - p["vg0"], p["wg"])
    share = g / (g + p["d"] * (screen + SLIVER))
    to_plate = (1.0 - share) * (1.0 - caught) * accepted * cathode
    return to_plate, (1.0 - share) * cathode - to_plate, share * cathode


def junction(v: NDArray, saturation: float, volts: float, ohms: float) -> NDArray:
    """`i = saturation (exp((v - ohms i) / volts) - 1)`, by Wright's omega function."""
    z = (np.real(v) + saturation * ohms) / volts + np.log(saturation * ohms / volts)
    w = wrightomega(z)
    return _dual(volts / ohms * w - saturation, w / (1.0 + w) / ohms, v)


def conduction(forward: str, p: Numbers, v: NDArray) -> NDArray:
    """A diode's current without its leak: forward law and, if it is one, zener."""
    x = np.real(v)
    if forward == "valve":
        up = np.maximum(x, 0.0)
        amps = _dual(p["perveance"] * up**1.5, 1.5 * p["perveance"] * up**0.5, v)
    elif forward == "junction":
        amps = junction(v, p["saturation"], p["volts"], max(p["ohms"], 1e-6))
    elif forward == "ideal":
        # A parabola over the first millivolt, then a line.
        knee = 1e-3
        bent = np.clip(x, 0.0, knee)
        value = bent**2 / (2.0 * knee) + np.maximum(x - knee, 0.0)
        amps = _dual(value / p["ohms"], bent / knee / p["ohms"], v)
    else:
        raise ValueError(f"no such forward law: {forward}")
    if "zener" in p:
        # A junction turned round: a quarter of a watt at the marked volts, 1 ohm for each volt.
        marked = max(abs(p["zener"]), 0.1)
        ohms = max(marked, 0.1)
        tested = 0.25 / marked
        drive = 0.05 * np.log1p(tested / 1e-9) + ohms * tested
        start = marked - min(drive, 0.5 * marked)
        rest = junction(np.float64(-start), 1e-9, 0.05, ohms)
        back = junction(-v - start, 1e-9, 0.05, ohms) - rest
        amps = amps - np.where(x < 0.0, back, 0.0)
    return amps


def diode(forward: str, p: Numbers, v: NDArray) -> NDArray:
    """A diode at steady volts, its leak included."""
    return conduction(forward, p, v) + p["leak"] * v


def filament(p: Numbers, v: NDArray) -> NDArray:
    """A settled filament: near its rated volts the current goes as their 0.54th power."""
    q = 2.0 / (1.0 - 0.54)
    floor = min(max(p["cold"], 1e-3), 1.0) ** q
    r = v / p["volts"]
    hot = p["volts"] / p["amps"]
    return v / (hot * power(floor + (1.0 - floor) * r * r, 1.0 / q))


def filament_ohms(p: Numbers, rms: float) -> float:
    """Its resistance at volts rms across it."""
    volts = max(abs(rms), 1e-9)
    return volts / float(filament(p, np.float64(volts)))


def neon(p: Numbers, v: NDArray, lit: bool) -> NDArray:
    """A glow lamp: 10 pS when dark; lit, a line from its holding volts, bent over half a volt."""
    amps = 1e-11 * v
    if not lit:
        return amps
    x = np.real(v)
    over = np.abs(x) - p["hold"]
    bent = np.clip(over, 0.0, 0.5)
    value = bent**2 + np.maximum(over - 0.5, 0.0)
    return amps + _dual(np.sign(x) * value / p["ohms"], 2.0 * bent / p["ohms"], v)
