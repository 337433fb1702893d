"""How well any method could do on the generated cases: `ceiling.py [CASES] [SEED] [DRAWS]`.

A dictionary made by the generator itself, whose spread, valve laws and sizes of faults it knows: for every
part, fault and range of sizes, DRAWS specimens are read, and their readings, on a scale that is straight near
nothing and a logarithm above, give a mean and a covariance. A case is weighed by Student's distribution, which
is what a normal distribution with a mean and a covariance of so many samples predicts (A. Gelman et al.,
Bayesian Data Analysis, section 3.6, from memory, not seen), under the shares with which faults are drawn. That
is more than a program that has the wiring and the sheets alone can know; but no proven bound: readings are not
normally distributed, and the dictionary promises a little more than it keeps.
"""

import sys

import numpy as np
from scipy.special import gammaln

import cases
import score

METER = 10e6
# Volts below which nothing is made of a reading: no bench meter shows less.
LEAST = 2e-4
# Ranges of sizes, each with its own mean and covariance.
STRATA = {"high": 6, "low": 4, "leaky": 10, "gassy": 8, "weak": 4, "short": 2}


class Many:
    """Specimens of one amplifier, side by side."""

    def __init__(self, specimens):
        self.first = first = specimens[0]
        self.count, self.size = len(specimens), first.size
        self.index = first.index
        self.r_names = list(first.ohms)
        self.ohms = np.array([[s.ohms[n][2] for n in self.r_names] for s in specimens])
        ends = [[self.index[x] for x in first.ohms[n][:2]] for n in self.r_names]
        self.ends = np.array(ends)
        self.sources = [(self.index[a], self.index[b], np.array([s.sources[n][2] for s in specimens]), ohms)
                        for n, (a, b, _, ohms) in first.sources.items()]
        self.devices = []
        for name, (sort, law, nodes, _, _) in first.devices.items():
            of = lambda what: np.array([getattr(s.devices[name][1], what) for s in specimens])
            by = np.array([s.devices[name][3] for s in specimens])
            gas = np.array([s.devices[name][4] or 0.0 for s in specimens])
            if sort == "triode":
                laws = {k: of(k) for k in ("mu", "power", "width", "offset", "scale", "grid_scale", "contact", "stray")}
            elif sort == "pentode":
                laws = {k: of(k) for k in ("mu_screen", "mu_plate", "power", "scale", "share", "knee", "stray")}
            else:
                laws = law
            self.devices.append((sort, laws, [self.index[n] for n in nodes], by, gas))

    def currents(self, device, volts):
        sort, p, _, by, gas = device
        k = volts[-1]
        if sort == "rectifier":
            return [by * cases.rectified(volts[0] - k, p)]
        soft = cases.soft
        floor = np.minimum(by, 1.0)
        if sort == "triode":
            plate, grid = volts[0] - k, volts[1] - k
            drive = soft(plate / p["mu"] + grid + p["offset"], p["width"])
            knee = -np.expm1(-np.maximum(plate, 0) / 12)
            leak = p["grid_scale"] * soft(grid + p["contact"], 0.1) ** 1.5
            return [by * p["scale"] * drive ** p["power"] * knee, floor * leak + p["stray"] - gas]
        plate, screen, grid = volts[0] - k, volts[1] - k, volts[2] - k
        drive = soft(screen / p["mu_screen"] + plate / p["mu_plate"] + grid, 0.3)
        space = by * p["scale"] * drive ** p["power"]
        reach = -np.expm1(-np.maximum(plate, 0) / (p["knee"] * np.maximum(screen, 0) + 4))
        to_plate = (1 - p["share"]) * reach
        to_screen = (1 - to_plate) * -np.expm1(-np.maximum(screen, 0) / 5)
        leak = 1e-3 * soft(grid, 0.15) ** 1.5
        return [space * to_plate, space * to_screen, floor * leak + p["stray"] - gas]

    def feed(self, x, extra=None, live=None):
        """Currents out of every node of the specimens `live`, and their slopes; ground is the last."""
        n = self.size
        rows = np.arange(self.count) if live is None else live
        full = np.concatenate([x, np.zeros((len(rows), 1))], axis=1)
        slope = np.zeros((len(rows), n + 1, n + 1))
        out = np.zeros((len(rows), n + 1))

        def resistor(i, j, g, emf=0.0):
            amps = (full[:, i] - full[:, j] - emf) * g
            out[:, i] += amps
            out[:, j] -= amps
            slope[:, i, i] += g
            slope[:, j, j] += g
            slope[:, i, j] -= g
            slope[:, j, i] -= g

        for (i, j), ohms in zip(self.ends, self.ohms[rows].T):
            resistor(i, j, 1 / ohms)
        for i, j, volts, ohms in self.sources:
            resistor(i, j, 1 / ohms, volts[rows])
        if extra is not None:
            resistor(extra, n, np.full(len(rows), 1 / METER))
        step = 1e-6
        for sort, laws, nodes, by, gas in self.devices:
            part = {k: v[rows] for k, v in laws.items()} if isinstance(laws, dict) else laws
            device = (sort, part, nodes, by[rows], gas[rows])
            volts = [full[:, i] for i in nodes]
            here = self.currents(device, volts)
            cathode = nodes[-1]
            for k, amps in enumerate(here):
                out[:, nodes[k]] += amps
                out[:, cathode] -= amps
            for m in range(len(nodes)):
                more = list(volts)
                more[m] = more[m] + step
                for k, (p, q) in enumerate(zip(self.currents(device, more), here)):
                    slope[:, nodes[k], nodes[m]] += (p - q) / step
                    slope[:, cathode, nodes[m]] -= (p - q) / step
        diagonal = np.arange(n)
        slope[:, diagonal, diagonal] += 1e-12
        return out[:, :n] + 1e-12 * x, slope[:, :n, :n]

    def solve(self, start, extra=None):
        """Volts, and which specimens settled."""
        x = start.copy()
        good = np.zeros(self.count, bool)
        for _ in range(150):
            live = np.flatnonzero(~good)
            if not len(live):
                break
            out, slope = self.feed(x[live], extra, live)
            step = np.linalg.solve(slope, -out[..., None])[..., 0]
            most = np.abs(step).max(axis=1)
            x[live] += step * np.minimum(1.0, 12.0 / np.maximum(most, 1e-30))[:, None]
            good[live] = most < 1e-7
        return x, good

    def read(self, points, gains, start):
        """What a meter shows at each point, rounded as its display is; and which specimens settled."""
        x, good = self.solve(start)
        _, slope = self.feed(x)
        inverse = np.linalg.inv(slope)
        shown = []
        for point in points:
            i = self.index[point]
            source = inverse[:, i, i]
            takes = source / (METER + source)
            if np.abs(takes).max() > 0.02:
                y, fine = self.solve(x - inverse[:, :, i] * (x[:, i] / (METER + source))[:, None], extra=i)
                good = good & fine
                volts = y[:, i]
            else:
                volts = x[:, i] * (1 - takes)
            volts = volts * gains
            digit = 10.0 ** (np.floor(np.log10(np.maximum(np.abs(volts), 0.02))) - 3)
            shown.append(np.round(volts / digit) * digit)
        return np.array(shown).T, good


def inject(many, part, fault, size, end):
    """The fault in every specimen, at sizes and ends that are given; what was there before, to be put back."""
    amp = many.first.amp
    if part in many.first.devices or amp.parts.get(part, {}).get("kind") in ("5Y3GT", "5AR4"):
        names = [part] if part in many.first.devices else [part + h for h in "ab"]
        for name in names:
            _, _, _, by, gas = many.devices[list(many.first.devices).index(name)]
            if fault == "gassy":
                gas[:] = size
            else:
                by *= size
        return
    kind = amp.parts[part]["kind"]
    if kind == "pot":
        many.ohms[:, many.r_names.index(part + end)] = cases.OPEN
    elif kind == "output":
        many.ohms[:, many.r_names.index(end)] = cases.OPEN
    else:
        at = many.r_names.index(part)
        if fault in ("high", "low"):
            many.ohms[:, at] *= size
        else:
            many.ohms[:, at] = size


def sizes(amp, names, part, fault):
    """Ranges of sizes of a fault, as a function of where in it, 0 to 1; and its ends."""
    even = lambda lo, hi: lambda u: lo + u * (hi - lo)
    even_log = lambda lo, hi: lambda u: lo * (hi / lo) ** u
    valve = part not in amp.parts
    kind = amp.parts[part]["kind"] if not valve else "12AX7"
    valve |= kind == "6V6GT"
    ends = [None]
    if kind == "pot":
        return [even(1, 1)], [" below", " above"]
    if kind == "output":
        return [even(1, 1)], [k for k in names if k.split()[0] == part and not k.endswith(" s")]
    if kind in ("5Y3GT", "5AR4"):
        whole = even(0.15, 0.4) if fault == "weak" else even(1e-7, 1e-7)
    elif fault == "weak":
        whole = even(0.25, 0.6)
    elif fault == "dead":
        whole = even(1e-7, 1e-7)
    elif fault == "gassy":
        whole = even_log(5e-6, 6e-5) if kind == "6V6GT" else even_log(5e-7, 1e-5)
    elif fault == "open":
        whole = even(cases.OPEN, cases.OPEN)
    elif fault == "high":
        whole = even_log(1.4, 4.0)
    elif fault == "low":
        whole = even(0.3, 0.65)
    elif fault == "short":
        whole = even(0.1, 10)
    else:
        whole = even_log(500, 50e3) if amp.parts[part]["electrolytic"] else even_log(50e3, 5e6)
    count = STRATA.get(fault, 1)
    return [(lambda u, k=k: whole((k + u) / count)) for k in range(count)], ends


def heaps(rows, least):
    """Readings that lie in two heaps or more, as those of a grid that nothing holds and that drifts up or down, apart."""
    if len(rows) < 2 * least:
        return [rows]
    z = (rows - np.median(rows, axis=0)) / (np.abs(rows - np.median(rows, axis=0)).mean(axis=0) + 1e-9)
    _, _, way = np.linalg.svd(z - z.mean(axis=0), full_matrices=False)
    at = z @ way[0]
    low = at < at.mean()
    for _ in range(30):
        if not least <= low.sum() <= len(rows) - least:
            return [rows]
        low, before = at < (at[low].mean() + at[~low].mean()) / 2, low
        if (low == before).all():
            break
    parts = [rows[low], rows[~low]]
    if min(len(p) for p in parts) < least:
        return [rows]
    together = Looks(rows).log(rows).sum()
    apart = sum((Looks(p).log(p) + np.log(len(p) / len(rows))).sum() for p in parts)
    # the parameters of one heap more, as Schwarz counts them (Annals of Statistics 6, 1978, from memory, not seen)
    d = rows.shape[1]
    if apart - together < 0.5 * (d + d * (d + 1) / 2) * np.log(len(rows)):
        return [rows]
    return [h for p in parts for h in heaps(p, least)]


class Looks:
    """Mean and covariance of readings, on the bent scale."""

    def __init__(self, rows):
        self.n, self.d = rows.shape
        self.mean = rows.mean(axis=0)
        spread = np.cov(rows.T) + np.diag(np.full(self.d, LEAST**2))
        freedom = self.n - self.d
        self.freedom = freedom
        scale = spread * (self.n - 1) / freedom * (1 + 1 / self.n)
        self.factor = np.linalg.cholesky(scale)
        self.log_det = 2 * np.log(np.diag(self.factor)).sum()

    def log(self, rows):
        z = np.linalg.solve(self.factor, (rows - self.mean).T)
        q = (z * z).sum(axis=0)
        f, d = self.freedom, self.d
        return (gammaln((f + d) / 2) - gammaln(f / 2) - d / 2 * np.log(f * np.pi) - self.log_det / 2
                - (f + d) / 2 * np.log1p(q / f))


def dictionary(amp, points, draws, scale):
    """Of every part and fault, and of a sound amplifier: looks with the logarithm of their shares."""
    rng = np.random.default_rng(4_000_001)
    base = Many([cases.Specimen(amp, rng) for _ in range(draws)])
    start = cases.Specimen(amp, np.random.default_rng(0), spread=0.0).solve()
    sound, good = base.solve(np.tile(start, (draws, 1)))
    assert good.all()
    gains = lambda: 1 + rng.uniform(-0.005, 0.005, draws)
    kept = base.ohms.copy(), [(d[3].copy(), d[4].copy()) for d in base.devices]
    bend = lambda rows: np.arcsinh(rows / (0.05 * scale)) * scale

    def looks(part=None, fault=None, size=None, end=None):
        base.ohms[:] = kept[0]
        for d, (by, gas) in zip(base.devices, kept[1]):
            d[3][:], d[4][:] = by, gas
        if part:
            inject(base, part, fault, size(rng.permutation((np.arange(draws) + 0.5) / draws)), end)
        shown, good = base.read(points, gains(), sound)
        least = 3 * len(points)
        if good.sum() < least:
            return []
        return [(Looks(rows), np.log(len(rows) / good.sum())) for rows in heaps(bend(shown[good]), least)]

    every = cases.faults(amp)
    found = [("healthy", np.log(0.06) + part, at) for at, part in looks()]
    for part, fault in every:
        ranges, ends = sizes(amp, base.r_names, part, fault)
        share = np.log(0.94 / len(every) / len(ranges) / len(ends))
        for size in ranges:
            for end in ends:
                found += [((part, fault), share + heap, at) for at, heap in looks(part, fault, size, end)]
    return found, bend


def drawn(amp, points, count, seed):
    """The cases of `score.drawn`, read side by side: truth, sound readings and shown ones, of those that settle."""
    every = cases.faults(amp)
    before, after, truths, gains = [], [], [], []
    for k in range(count):
        start = seed * 1_000_003 + 7 * k
        for into, faulty in ((before, False), (after, True)):
            draw = np.random.default_rng(start)
            specimen = cases.Specimen(amp, draw)
            truth = every[draw.integers(len(every))] if draw.random() > 0.06 else None
            if faulty and truth:
                cases.inject(specimen, *truth, draw)
            into.append(specimen)
        truths.append(truth)
        gains.append(1 + np.random.default_rng(start + 1).uniform(-0.005, 0.005))
    nominal = cases.Specimen(amp, np.random.default_rng(0), spread=0.0).solve()
    volts, _ = Many(before).solve(np.tile(nominal, (count, 1)))
    at = [amp.find(p) for p in points]
    sound, good = Many(before).read(at, np.array(gains), volts)
    shown, fine = Many(after).read(at, np.array(gains), volts)
    # The specimens side by side are held against one alone, within the last of the four digits: a half may be rounded either way.
    same = lambda a, b: np.allclose(a, b, rtol=1.05e-3, atol=0)
    for k in range(min(count, 6)):
        truth, before_alone, alone = cases.case(amp, points, seed * 1_000_003 + 7 * k)
        assert truth == truths[k], (truth, truths[k])
        if good[k] and fine[k]:
            assert same(before_alone, sound[k]) and same(alone, shown[k]), k
    return [(truths[k], sound[k], shown[k]) for k in range(count) if good[k] and fine[k]]


def answers(found, bend, shown):
    """The answer to each case, in the form of the program's."""
    rows = bend(shown)
    logs = np.array([share + looks.log(rows) for _, share, looks in found])
    logs -= logs.max(axis=0)
    weights = np.exp(logs)
    weights /= weights.sum(axis=0)
    keys = sorted({key for key, _, _ in found if key != "healthy"})
    of = {key: np.zeros(len(rows)) for key in keys + ["healthy"]}
    for (key, _, _), w in zip(found, weights):
        of[key] += w
    return [{"suspects": [{"part": p, "class": c, "probability": of[p, c][k]} for p, c in keys if of[p, c][k] > 1e-7],
             "healthy": of["healthy"][k], "unlisted": 0.0} for k in range(len(rows))]


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    draws = int(sys.argv[3]) if len(sys.argv) > 3 else 400
    for name, points in cases.POINTS.items():
        amp = cases.Amp((score.HERE / "amps" / f"{name}.wiring").read_text())
        at = [amp.find(p) for p in points]
        sigma = score.spread(amp, points)
        made = drawn(amp, points, count, seed)
        nominal = cases.Specimen(amp, np.random.default_rng(0), spread=0.0).read(at, np.random.default_rng(0))
        scale = np.maximum(np.abs(np.array(nominal)), 0.02)
        found, bend = dictionary(amp, at, draws, scale)
        given = answers(found, bend, np.array([shown for _, _, shown in made]))
        visible = [bool((np.abs(shown - sound) / sigma).max() >= score.VISIBLE) for _, sound, shown in made]
        rows = [(t, v, None, None) for (t, _, _), v in zip(made, visible)]
        score.score(name, rows, given)
        firsts = [max(s["probability"] for s in a["suspects"]) for a, (t, v, _, _) in zip(given, rows) if t and v]
        print(f"  the first suspects' own promise over visible faults {np.mean(firsts):5.3f}", flush=True)


if __name__ == "__main__":
    main()
