"""Generated cases for the suspects: an amplifier with spread, one fault in it, and a meter.

Shares neither solver nor valve law with the engine. The circuit is read from a wiring of the
plainest form (`amps/*.wiring`): parts and short walks, no brackets, no mains transformer. Valves
follow laws of their own: a three-halves power with an exponent that is drawn anew, a soft onset,
and a knee that is an exponential; their constants meet the data-sheet points named beside them.
"""

import contextlib
import re

import numpy as np

OPEN = 1e10


# ---- reading a plain wiring --------------------------------------------------------------------

def value(text):
    """68k, 4k7, 1.5k, 22n, 5H, 470 -> a number in SI units."""
    scale = {"M": 1e6, "k": 1e3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "R": 1.0}
    text = text.rstrip("H")
    found = re.fullmatch(r"([\d.]+)([MkunpR])?(\d*)", text)
    number, letter, rest = found.groups()
    return float(number + ("." + rest if rest else "")) * scale.get(letter, 1.0)


def tolerance(text):
    found = re.search(r"-(\d+)\+(\d+)%", text)
    if found:
        return -int(found[1]) / 100, int(found[2]) / 100
    found = re.search(r"(\d+)%", text)
    return (-int(found[1]) / 100, int(found[1]) / 100) if found else (-0.1, 0.1)


PINS = {"12AX7": {"1": "a.p", "2": "a.g", "3": "a.k", "6": "b.p", "7": "b.g", "8": "b.k"},
        "6V6GT": {"3": ".p", "4": ".s", "5": ".g", "8": ".k"},
        "5Y3GT": {"4": "a.p", "6": "b.p", "8": ".k", "2": ".k"},
        "5AR4": {"4": "a.p", "6": "b.p", "8": ".k", "2": ".k"}}


class Amp:
    """Parts by name: a kind, its nodes by terminal, its value and tolerance."""

    def __init__(self, text):
        self.parts, self.joined = {}, {}
        for line in text.splitlines():
            line = re.split(r"\s#|^#", line)[0].strip()
            if not line:
                continue
            if " - " in line:
                self.walk(line.split(" - "))
            else:
                self.describe(line)
        for part in self.parts.values():
            part["nodes"] = {t: self.find(n) for t, n in part["nodes"].items()}

    def describe(self, line):
        words = line.split()
        name, rest = words[0], " ".join(words[1:])
        if name == "set":
            self.parts[words[1]]["turn"] = float(words[2]) / 10
        elif name[0] == "V":
            self.parts[name] = {"kind": words[1], "nodes": {}}
        elif words[1:2] == ["pot"]:
            self.parts[name] = {"kind": "pot", "value": value(words[2]), "tol": tolerance(rest),
                                "audio": "audio" in rest, "turn": 0.5, "nodes": {}}
        elif words[1:2] == ["output"]:
            to, load = re.search(r"(\w+):(\d+) ohm", rest).groups()
            henries = float(re.search(r"(\d+)H", rest)[1])
            ohms = re.search(r"([\d.+]+) ohm (?:\d|$)", rest.split("W", 1)[1])[1]
            self.parts[name] = {"kind": "output", "ohms": [float(x) for x in ohms.split("+")],
                                "ratio": float(np.sqrt(value(to) / float(load))), "henries": henries,
                                "single": "single" in rest, "nodes": {}}

    def walk(self, stops):
        ends = [stops[0].strip(), stops[-1].strip()]
        if len(stops) == 2:
            return self.join(*ends)
        words = stops[1].split()
        mark = words[0]
        name, rest = mark.strip("+<>"), " ".join(words[1:])
        a, b = (ends[1], ends[0]) if mark.endswith(("+", "<")) else (ends[0], ends[1])
        part = {"nodes": {"1": a, "2": b}, "tol": tolerance(rest)}
        if name.startswith("PS"):
            part |= {"kind": "supply", "value": float(words[2]), "ohms": float(words[4])}
        elif name[0] == "D":
            part |= {"kind": "diode"}
        elif name.startswith("LS"):
            part |= {"kind": "speaker", "value": 6.4}
        elif name[0] == "L":
            part |= {"kind": "choke", "value": float(words[2])}
        else:
            kind = {"R": "resistor", "C": "capacitor"}[name[0]]
            part |= {"kind": kind, "value": value(words[1]), "electrolytic": "electrolytic" in rest}
        self.parts[name] = part

    def join(self, a, b):
        for end, other in ((a, b), (b, a)):
            if "." in end:
                name, terminal = end.split(".")
                if name in self.parts:
                    kind = self.parts[name]["kind"]
                    at = PINS[kind][terminal] if kind in PINS else terminal
                    self.parts[name]["nodes"][at] = other
                    return
        self.joined[self.find(a)] = self.find(b)

    def find(self, node):
        while node in self.joined:
            node = self.joined[node]
        return node


# ---- valves --------------------------------------------------------------------------------------

def soft(x, width):
    """Nothing below 0, x above, smooth between."""
    z = x / width
    return width * np.where(z > 30, z, np.log1p(np.exp(np.minimum(z, 30))))


class Triode:
    """1.2 mA at 250 V, -2 V; 0.5 mA at 100 V, -1 V (12AX7 data sheets, from memory, not seen)."""

    def __init__(self, draw):
        self.mu = 100 * (1 + 0.05 * draw.normal())
        self.power = draw.uniform(1.42, 1.58)
        self.width = draw.uniform(0.05, 0.15)
        self.offset = 0.65 + 0.08 * draw.normal()
        at = soft(250 / self.mu - 2 + self.offset, self.width)
        self.scale = 1.2e-3 / at ** self.power
        self.grid_scale = 3e-4 * np.exp(0.4 * draw.normal())
        self.contact = 0.15 * draw.normal()
        self.stray = 20e-9 * draw.normal()

    def currents(self, plate, grid):
        drive = soft(plate / self.mu + grid + self.offset, self.width)
        knee = -np.expm1(-np.maximum(plate, 0) / 12) if plate > 0 else 0.0
        return (self.scale * drive ** self.power * knee,
                self.grid_scale * soft(grid + self.contact, 0.1) ** 1.5)


class Pentode:
    """45 mA and 4.5 mA at 250 V, 250 V, -12.5 V; 29 mA at 180 V, 180 V, -8.5 V; 34 mA at 315 V,
    225 V, -13 V (6V6GT data sheets, from memory, not seen)."""

    def __init__(self, draw):
        self.mu_screen = 9.0 * (1 + 0.04 * draw.normal())
        self.mu_plate = 205 * np.exp(0.15 * draw.normal())
        self.power = draw.uniform(1.42, 1.58)
        at = 250 / self.mu_screen + 250 / self.mu_plate - 12.5
        self.scale = 49.5e-3 / at ** self.power
        self.share = 0.09 * np.exp(0.2 * draw.normal())
        self.knee = draw.uniform(0.06, 0.10)
        self.grid_scale = 1e-3
        self.stray = 100e-9 * draw.normal()

    def currents(self, plate, screen, grid):
        drive = soft(screen / self.mu_screen + plate / self.mu_plate + grid, 0.3)
        space = self.scale * drive ** self.power
        reach = -np.expm1(-max(plate, 0.0) / (self.knee * max(screen, 0) + 4))
        to_plate = (1 - self.share) * reach
        # what the plate cannot take goes to the screen, as far as it is positive
        to_screen = (1 - to_plate) * (-np.expm1(-max(screen, 0.0) / 5))
        return (space * to_plate, space * to_screen,
                self.grid_scale * soft(grid, 0.15) ** 1.5)


def rectified(volts, kind):
    """5Y3GT 50 V at 125 mA, 5AR4 17 V at 225 mA a plate (data sheets, from memory, not seen)."""
    if kind == "silicon":
        return soft(volts - 0.6, 0.05) / 1.0
    scale = {"5Y3GT": 0.125 / 50 ** 1.5, "5AR4": 0.225 / 17 ** 1.5}[kind]
    return scale * soft(volts, 0.3) ** 1.5


# ---- one amplifier -------------------------------------------------------------------------------

class Specimen:
    """An amplifier with spread; resistances and devices between nodes."""

    def __init__(self, amp, draw, spread=1.0):
        self.amp = amp
        # what direct current does not see is drawn beside, so that a seed gives the volts it always gave
        draw_beside = np.random.default_rng(int(draw.bit_generator.state["state"]["state"] % 2**63))
        names = sorted({n for p in amp.parts.values() for n in p["nodes"].values()} - {"ground"})
        self.index = {"ground": -1} | {n: i for i, n in enumerate(names)}
        self.ohms, self.sources, self.devices = {}, {}, {}
        self.extra = []
        self.farads = {}
        mains = 1 + 0.01 * draw.normal() * spread

        def within(tol):
            return 1 + spread * (draw.uniform(tol[0], 0) if draw.random() < 0.5 else draw.uniform(0, tol[1]))

        for name, p in amp.parts.items():
            n, kind = p["nodes"], p["kind"]
            if kind in ("resistor", "speaker", "choke"):
                self.ohms[name] = [n["1"], n["2"], p["value"] * within(p["tol"])]
            elif kind == "capacitor":
                self.farads[name] = p["value"] * (1 + spread * 0.1 * draw_beside.normal())
                leak = 5e5 if 24e-6 < p["value"] < 30e-6 else 2e6
                leak = leak * np.exp(0.7 * draw.normal()) if p["electrolytic"] else 1e10
                self.ohms[name] = [n["1"], n["2"], leak]
            elif kind == "pot":
                turn = p["turn"]
                part = (turn * 0.2 if turn < 0.5 else 0.1 + (turn - 0.5) * 1.8) if p["audio"] else turn
                whole = p["value"] * within(p["tol"])
                part = min(max(part, 1e-4), 1 - 1e-4)
                self.ohms[name + " below"] = [n["1"], n["2"], part * whole]
                self.ohms[name + " above"] = [n["2"], n["3"], (1 - part) * whole]
            elif kind == "supply":
                self.sources[name] = [n["1"], n["2"], p["value"] * mains, p["ohms"]]
            elif kind == "output":
                ohms = p["ohms"]
                if p["single"]:
                    self.ohms[name] = [n["p1"], n["p2"], ohms[0] * (1 + 0.05 * draw.normal())]
                else:
                    self.ohms[name + " 1"] = [n["p1"], n["p0"], ohms[0] * (1 + 0.05 * draw.normal())]
                    self.ohms[name + " 2"] = [n["p0"], n["p2"], ohms[1] * (1 + 0.05 * draw.normal())]
                self.ohms[name + " s"] = [n["s1"], n["s0"], 0.4]
            elif kind == "diode":
                self.devices[name] = ["rectifier", "silicon", (n["1"], n["2"]), 1.0, None]
            elif kind in ("5Y3GT", "5AR4"):
                for half in "ab":
                    by = np.exp(0.1 * draw.normal() * spread)
                    self.devices[name + half] = ["rectifier", kind, (n[half + ".p"], n[".k"]), by, None]
            elif kind == "12AX7":
                for half in "ab":
                    if half + ".p" in n:
                        law = Triode(draw)
                        at = (n[half + ".p"], n[half + ".g"], n[half + ".k"])
                        by = np.exp(0.15 * draw.normal() * spread)
                        self.devices[name + half] = ["triode", law, at, by, 0.0]
            elif kind == "6V6GT":
                law = Pentode(draw)
                at = (n[".p"], n[".s"], n[".g"], n[".k"])
                by = np.exp(0.12 * draw.normal() * spread)
                self.devices[name] = ["pentode", law, at, by, 0.0]
        self.size = len(names)

    @contextlib.contextmanager
    def without(self, valves):
        """With these valves out of their sockets."""
        whole = self.devices
        self.devices = {k: d for k, d in whole.items() if not any(k in (v, v + "a", v + "b") for v in valves)}
        try:
            yield
        finally:
            self.devices = whole

    def node(self, name):
        if name not in self.index:
            self.index[name] = self.size
            self.size += 1
        return name

    def feed(self, x):
        """Currents out of every node, and their slopes."""
        out, slope = np.zeros(self.size + 1), np.zeros((self.size + 1, self.size + 1))
        at = lambda n: x[self.index[n]] if self.index[n] >= 0 else 0.0

        def resistor(a, b, ohms, emf=0.0):
            i, j, g = self.index[a], self.index[b], 1 / ohms
            amps = (at(a) - at(b) - emf) * g
            out[i] += amps
            out[j] -= amps
            slope[i, i] += g
            slope[j, j] += g
            slope[i, j] -= g
            slope[j, i] -= g

        for a, b, ohms in list(self.ohms.values()) + self.extra:
            resistor(a, b, ohms)
        for plus, minus, volts, ohms in self.sources.values():
            resistor(plus, minus, ohms, volts)
        step = 1e-6
        for sort, law, nodes, by, gas in self.devices.values():
            index = [self.index[n] for n in nodes]
            cathode = nodes[-1]

            def currents(v):
                if sort == "rectifier":
                    return [by * rectified(v[0] - v[1], law)]
                rest = [a - v[-1] for a in v[:-1]]
                parts = list(law.currents(*rest))
                # a cathode that gives less gives its grid less, too
                return [by * p for p in parts[:-1]] + [min(by, 1.0) * parts[-1] + law.stray - gas]

            volts = [at(n) for n in nodes]
            here = currents(volts)
            for k, amps in enumerate(here):
                out[index[k]] += amps
                out[self.index[cathode]] -= amps
            for m in range(len(nodes)):
                more = list(volts)
                more[m] += step
                for k, (p, q) in enumerate(zip(currents(more), here)):
                    slope[index[k], index[m]] += (p - q) / step
                    slope[self.index[cathode], index[m]] -= (p - q) / step
        n = self.size
        slope[range(n), range(n)] += 1e-12
        out[:n] += 1e-12 * x[:n]
        return out[:n], slope[:n, :n]

    def solve(self, start=None):
        """Damped Newton steps; sources raised where they do not settle."""
        x = np.zeros(self.size) if start is None else start.copy()
        x.resize(self.size, refcheck=False)
        whole = {k: v[2] for k, v in self.sources.items()}
        for raise_to in ([1.0] if start is not None else []) + list(np.linspace(0.05, 1, 12)):
            for k, v in self.sources.items():
                v[2] = whole[k] * raise_to
            good = False
            for _ in range(200):
                out, slope = self.feed(x)
                try:
                    step = np.linalg.solve(slope, -out)
                except np.linalg.LinAlgError:
                    break
                most = np.abs(step).max()
                x = x + step * min(1.0, 12.0 / max(most, 1e-30))
                if most < 1e-7:
                    good = True
                    break
            if good and raise_to == 1.0:
                return x
        for k, v in self.sources.items():
            v[2] = whole[k]
        return None

    def read(self, points, draw, meter=10e6):
        """What a meter with an error shows at each point; none where there is no solution."""
        free = self.solve()
        if free is None:
            return None
        gain = 1 + draw.uniform(-0.005, 0.005)
        shown = []
        for point in points:
            self.extra.append((point, "ground", meter))
            x = self.solve(free)
            self.extra.pop()
            if x is None:
                return None
            volts = x[self.index[point]] * gain
            digit = 10.0 ** (np.floor(np.log10(max(abs(volts), 0.02))) - 3)
            shown.append(round(volts / digit) * digit)
        return shown

    def cold(self, a, b, draw):
        """What an ohmmeter with an error of 1 % shows between two points, power off and discharged:
        valves, diodes and supplies pass nothing at its volts."""
        n = self.size
        slope = np.eye(n) * 1e-12
        for x, y, ohms in self.ohms.values():
            i, j, g = self.index[x], self.index[y], 1 / ohms
            for k, m in ((i, j), (j, i)):
                if k >= 0:
                    slope[k, k] += g
                    if m >= 0:
                        slope[k, m] -= g
        fed = np.zeros(n)
        for node, amps in ((a, 1.0), (b, -1.0)):
            if self.index[node] >= 0:
                fed[self.index[node]] += amps
        volts = np.linalg.solve(slope, fed)
        at = lambda node: volts[self.index[node]] if self.index[node] >= 0 else 0.0
        return (at(a) - at(b)) * (1 + draw.uniform(-0.01, 0.01))


    def driven(self, jack, volts, hertz, points, draw, turns=()):
        """What a meter on AC shows at each point with a signal at a jack; none without a solution.

        The circuit linearised where it stands; output transformers with their ratio, primary
        inductance and winding ohms. `turns`: knobs that stand elsewhere, name and turn."""
        before = {}
        for name, turn in turns:
            p = self.amp.parts[name]
            part = (turn * 0.2 if turn < 0.5 else 0.1 + (turn - 0.5) * 1.8) if p["audio"] else turn
            part = min(max(part, 1e-4), 1 - 1e-4)
            ends = [self.ohms[name + " below"], self.ohms[name + " above"]]
            before[name] = [e[2] for e in ends]
            if max(before[name]) < 0.1 * OPEN:
                whole = sum(before[name])
                ends[0][2], ends[1][2] = part * whole, (1 - part) * whole
        wound = {n: p for n, p in self.amp.parts.items() if p["kind"] == "output"}
        x = self.solve()
        if x is None:
            return None
        _, dc = self.feed(x)
        for name, turn in turns:
            for end, was in zip(("below", "above"), before[name]):
                self.ohms[f"{name} {end}"][2] = was
        n, extra = self.size, 4 * len(wound)
        full = np.zeros((n + extra, n + extra), complex)
        full[:n, :n] = dc
        s = 2j * np.pi * hertz

        def stamp(a, b, y):
            i, j = self.index[a], self.index[b]
            for k, m, sign in ((i, i, 1), (j, j, 1), (i, j, -1), (j, i, -1)):
                if k >= 0 and m >= 0:
                    full[k, m] += sign * y

        for name, farads in self.farads.items():
            a, b, _ = self.ohms[name]
            stamp(a, b, s * farads)
        for k, (name, p) in enumerate(wound.items()):
            of, at = p["nodes"], n + 4 * k
            halves = [(of["p1"], of["p2"], name)] if p["single"] else [
                (of["p1"], of["p0"], name + " 1"), (of["p0"], of["p2"], name + " 2")]
            turns_each = p["ratio"] / len(halves)
            # unknowns: volts of the core as the secondary has them; amperes of each half and of the secondary
            core, secondary = at, at + 3
            for h, (a, b, key) in enumerate(halves):
                row, ohms = at + 1 + h, self.ohms[key][2]
                stamp(a, b, -1 / ohms)
                self._branch(full, row, a, b, ohms, turns_each, core)
                full[core, row] += turns_each
            if p["single"]:
                full[at + 2, at + 2] = 1
            stamp(of["s1"], of["s0"], -1 / self.ohms[name + " s"][2])
            self._branch(full, secondary, of["s1"], of["s0"], self.ohms[name + " s"][2], 1.0, core)
            full[core, secondary] += 1
            full[core, core] -= p["ratio"] ** 2 / (s * p["henries"])
        fed = np.zeros(n + extra, complex)
        stamp(jack, "ground", 1.0)
        fed[self.index[jack]] += volts
        found = np.linalg.solve(full, fed)
        gain = 1 + draw.uniform(-0.01, 0.01)
        return [float(f"{abs(found[self.index[p]]) * gain:.3g}") for p in points]

    def _branch(self, full, row, a, b, ohms, turns, core):
        """A winding: volts across it are its ohms' and its turns' share of the core's."""
        for node, sign in ((a, 1), (b, -1)):
            i = self.index[node]
            if i >= 0:
                full[i, row] += sign
                full[row, i] += sign
        full[row, row] -= ohms
        full[row, core] -= turns


# ---- faults --------------------------------------------------------------------------------------

def log_between(draw, lo, hi):
    return float(np.exp(draw.uniform(np.log(lo), np.log(hi))))


def faults(amp):
    """Every part with every fault: (part, class)."""
    all_ = []
    for name, p in amp.parts.items():
        kind = p["kind"]
        if kind == "resistor":
            all_ += [(name, c) for c in ("open", "high", "low")]
        elif kind == "capacitor":
            all_ += [(name, c) for c in ("open", "short", "leaky")]
        elif kind == "pot":
            all_ += [(name, "open")]
        elif kind == "output":
            all_ += [(name, "open")]
        elif kind == "choke":
            all_ += [(name, "open")]
        elif kind == "12AX7":
            all_ += [(name + h, c) for h in "ab" if h + ".p" in p["nodes"]
                     for c in ("weak", "dead", "gassy")]
        elif kind == "6V6GT":
            all_ += [(name, c) for c in ("weak", "dead", "gassy")]
        elif kind in ("5Y3GT", "5AR4"):
            all_ += [(name, c) for c in ("weak", "dead")]
    return all_


def inject(specimen, part, fault, draw):
    """Puts a fault in."""
    ohms = specimen.ohms
    if part in specimen.devices:
        device = specimen.devices[part]
        if fault == "weak":
            device[3] *= draw.uniform(0.25, 0.6)
        elif fault == "dead":
            device[3] *= 1e-7
        else:
            device[4] = log_between(draw, 5e-7, 1e-5) if device[0] == "triode" else log_between(draw, 5e-6, 6e-5)
        return
    kind = specimen.amp.parts[part]["kind"]
    if kind in ("5Y3GT", "5AR4"):
        by = draw.uniform(0.15, 0.4) if fault == "weak" else 1e-7
        for half in "ab":
            specimen.devices[part + half][3] *= by
    elif kind == "pot":
        specimen.ohms[part + draw.choice([" below", " above"])][2] = OPEN
    elif kind == "output":
        names = [k for k in ohms if k.split()[0] == part and not k.endswith(" s")]
        ohms[draw.choice(names)][2] = OPEN
    elif fault == "open":
        ohms[part][2] = OPEN
        if part in specimen.farads:
            specimen.farads[part] *= 1e-9
    elif fault == "high":
        ohms[part][2] *= log_between(draw, 1.4, 4.0)
    elif fault == "low":
        ohms[part][2] *= draw.uniform(0.3, 0.65)
    elif fault == "short":
        ohms[part][2] = draw.uniform(0.1, 10)
    elif fault == "leaky":
        big = specimen.amp.parts[part]["electrolytic"]
        ohms[part][2] = log_between(draw, 500, 50e3) if big else log_between(draw, 50e3, 5e6)


POINTS = {"se5": ["b1", "b2", "b3", "a1", "k1", "a2", "k2", "vw", "g3s", "k3", "a3"],
          "pp18": ["b1", "b2", "b3", "b4", "bf", "k5", "k6", "pa", "pb", "a1", "k2", "a3", "a7", "k8"]}


def case(amp, points, seed, healthy_share=0.06):
    """One case: truth, readings, and how many sigma the fault moved the furthest reading."""
    draw = np.random.default_rng(seed)
    every = faults(amp)
    specimen = Specimen(amp, draw)
    points = [amp.find(p) for p in points]
    truth = None
    if draw.random() > healthy_share:
        truth = every[draw.integers(len(every))]
    sound = specimen.read(points, np.random.default_rng(seed + 1))
    if truth:
        inject(specimen, *truth, draw)
    shown = specimen.read(points, np.random.default_rng(seed + 1))
    return truth, sound, shown
