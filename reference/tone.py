"""Closed forms of tone networks, derived with a computer algebra library (sympy).

Each network is a list of resistors and capacitors with symbols for values. The transfer function
N(s)/D(s) comes from the nodal equations by determinants, exactly, and is evaluated with 40 digits.
The network shapes are those of the textbooks (F. Langford-Smith, Radiotron Designer's Handbook,
4th ed., 1953, chapter 15, from memory, not seen); the values are our own.

    python3 reference/tone.py > crates/solve/tests/data/tone_networks.toml

needs sympy, which nothing else here does. Shares no code with the engine.
"""

import sympy as sp
from sympy.polys.matrices import DomainMatrix

HERTZ = [10, 30, 82, 150, 300, 500, 750, 1000, 2000, 4000, 8000, 15000, 40000]


def track(name, ohms, part, top, wiper, end):
    """A pot: `part` of its track lies between wiper and end."""
    return [
        ("R", name + "_upper", top, wiper, sp.Rational(ohms) * (1 - sp.Rational(part))),
        ("R", name + "_lower", wiper, end, sp.Rational(ohms) * sp.Rational(part)),
    ]


def three_knobs(treble, bass, middle):
    """Treble, bass and middle behind one slope resistor; source and load included."""
    return (
        [("R", "source", 1, 2, "38462"), ("C", "treble", 2, 3, "250e-12"), ("R", "slope", 2, 4, "100e3")]
        + track("treble", "250e3", treble, 3, 5, 6)
        + [("C", "bass", 4, 6, "100e-9"), ("R", "bass", 6, 7, sp.Rational("250e3") * sp.Rational(bass))]
        + [("C", "middle", 4, 7, "47e-9"), ("R", "middle", 7, 0, sp.Rational("25e3") * sp.Rational(middle))]
        + [("R", "load", 5, 0, "1e6")],
        5,
    )


def two_knobs(treble, bass):
    """Passive bass and treble controls, each with its own divider."""
    return (
        [("R", "source", 1, 2, "38462"), ("R", "upper", 2, 3, "100e3")]
        + track("bass", "1e6", bass, 3, 4, 5)
        + [("C", "upper", 3, 4, "2.2e-9"), ("C", "lower", 4, 5, "22e-9"), ("R", "lower", 5, 0, "10e3")]
        + [("R", "joining", 4, 7, "100e3"), ("C", "top", 2, 6, "220e-12")]
        + track("treble", "1e6", treble, 6, 7, 8)
        + [("C", "foot", 8, 0, "2.2e-9"), ("R", "load", 7, 0, "1e6")],
        7,
    )


def one_knob(at):
    """A capacitor to ground through a variable resistor."""
    return (
        [("R", "source", 1, 2, "38462"), ("C", "coupling", 2, 3, "22e-9"), ("C", "tone", 3, 4, "4.7e-9")]
        + [("R", "tone", 4, 0, sp.Rational("500e3") * sp.Rational(at)), ("R", "load", 3, 0, "470e3")],
        3,
    )


def bright(at):
    """A volume control with a capacitor across its upper part: 1 Mohm, 120 pF."""
    return (
        [("R", "source", 1, 2, "1e-3")] + track("volume", "1e6", at, 2, 3, 0) + [("C", "bright", 2, 3, "120e-12")],
        3,
    )


def bridged_tee():
    """A bridged T, which takes out the middle."""
    return (
        [("R", "source", 1, 2, "10e3"), ("C", "first", 2, 3, "10e-9"), ("C", "second", 3, 4, "10e-9")]
        + [("R", "bridge", 2, 4, "220e3"), ("R", "leg", 3, 0, "4.7e3"), ("R", "load", 4, 0, "1e6")],
        4,
    )


def closed_form(elements, out):
    """N(s)/D(s) from node 1 to `out`, symbols for every value, and the values."""
    s = sp.Symbol("s")
    nodes = 1 + max(max(a, b) for _, _, a, b, _ in elements)
    # Node 1 is held at one volt; the unknowns are nodes 2 and up.
    size = nodes - 2
    matrix, right, values = sp.zeros(size, size), sp.zeros(size, 1), {}
    for kind, name, a, b, value in elements:
        # Conductances, so that every entry is a polynomial.
        symbol = sp.Symbol(f"{'G' if kind == 'R' else 'C'}_{name}")
        values[symbol] = 1 / sp.Rational(value) if kind == "R" else sp.Rational(value)
        siemens = symbol if kind == "R" else s * symbol
        for n, m in ((a, b), (b, a)):
            if n >= 2:
                matrix[n - 2, n - 2] += siemens
                if m >= 2:
                    matrix[n - 2, m - 2] -= siemens
                elif m == 1:
                    right[n - 2] += siemens
    column = matrix.copy()
    column[:, out - 2] = right
    both = [DomainMatrix.from_Matrix(of) for of in (column, matrix)]
    return s, *(m.domain.to_sympy(m.det()) for m in both), values


def decibels(s, numerator, denominator, values, hertz):
    at = values | {s: 2 * sp.pi * sp.I * hertz}
    ratio = sp.N(numerator.subs(at), 40) / sp.N(denominator.subs(at), 40)
    return sp.N(20 * sp.log(sp.Abs(ratio), 10), 20)


def main():
    networks = [(f"bright at {k}", *bright(k)) for k in ("0.1", "0.5", "0.9")]
    for t, b, m in (("0.5", "0.5", "0.5"), ("0.9", "0.1", "0.3"), ("0.1", "0.9", "0.8"), ("0.2", "0.2", "1")):
        networks.append((f"three knobs, treble {t} bass {b} middle {m}", *three_knobs(t, b, m)))
    for t, b in (("0.5", "0.5"), ("0.9", "0.1"), ("0.1", "0.9")):
        networks.append((f"two knobs, treble {t} bass {b}", *two_knobs(t, b)))
    networks += [(f"one knob at {k}", *one_knob(k)) for k in ("0.05", "1")]
    networks.append(("bridged T", *bridged_tee()))
    print("# Written by reference/tone.py: closed forms by computer algebra, evaluated with 40 digits.")
    for name, elements, out in networks:
        form = closed_form(elements, out)
        print(f'\n[[network]]\nname = "{name}"\nout = {out}\nelements = [')
        for kind, part, a, b, value in elements:
            print(f'  {{ kind = "{kind}", part = "{part}", a = {a}, b = {b}, value = {float(sp.Rational(value))!r} }},')
        print("]\ndb = [")
        for hertz in HERTZ:
            print(f"  [{float(hertz)}, {decibels(*form, hertz)}],")
        print("]")


if __name__ == "__main__":
    main()
