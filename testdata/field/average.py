"""A light map as an average over what is not known, by plain dense algebra, for
comparison with light/field.

Written from the formulas, apart from the Go code: every combination of noise,
spread, fall-off and kernel is solved on its own with the full covariance, and
what others expect of a reading is found by really leaving it out.

Run: python3 average.py > average.json   (numpy 1.24 was used)
"""
import itertools
import json
import numpy as np

NOISES = [0.02 * 1.7 ** k for k in range(5)]
SPREADS = [0.02 * 1.7 ** k for k in range(9)]
FALLS = [(1.1, 0.30), (0.6, 0.35), (0.0, 0.25), (-0.8, 0.10)]


def norm(k):
    n = len(k)
    c = np.eye(n) - 1 / n
    k = c @ k @ c
    d = np.trace(k) / n
    return k / d if d > 1e-9 else 0 * k


def matern(h):
    a = np.sqrt(5) * h
    return (1 + a + a * a / 3) * np.exp(-a)


def kernels(rows, cols, pr, pc):
    r, c = np.divmod(np.arange(rows * cols), cols)
    dx, dy = abs(c[:, None] - c) * pc, abs(r[:, None] - r) * pr
    lx, ly = cols * pc, rows * pr
    shapes = []
    for f in (0.35, 0.9):
        phi = max(f * max(lx, ly), 0.7 * min(pr, pc))
        shapes.append((0.2, matern(np.hypot(dx, dy) / phi)))
    for f in (0.5, 1.5):
        kx, ky = norm(matern(dx / (f * lx))), norm(matern(dy / (f * ly)))
        shapes.append((0.3, kx + ky + 0.15 * norm(kx * ky)))
    eye = np.eye(rows * cols)
    for (w, k), (p, wp) in itertools.product(shapes, ((0, 0.6), (0.1, 0.4))):
        yield w * wp, 0.8 * ((1 - p) * norm(k) + p * norm(eye))


def bowl(rows, cols):
    r, c = np.divmod(np.arange(rows * cols), cols)
    u, v = (2 * c + 1 - cols) / cols, (2 * r + 1 - rows) / rows
    b = -(u * u + v * v)
    b = b - b.mean()
    return b / b.std() if b.std() > 1e-9 else 0 * b


def average(grid, readings, anchors, ask=None, keep=None):
    """readings: (cell, meter, value). Without ask: mean, sd, noise, spread, log
    evidence of the places against the anchors (None: the meters' own scale).
    ask = (cell, meter, n): mean and sd of another n readings' mean. keep: the
    sum of squares and degrees of freedom of repeats, in place of the readings'.
    """
    groups = {}
    for cell, meter, y in readings:
        groups.setdefault((cell, meter), []).append(y)
    cell = np.array([k[0] for k in groups])
    meters = sorted({r[1] for r in readings} | ({ask[1]} if ask else set()))
    f = np.array([[float(k[1] == m) for m in meters] for k in groups])
    y = np.array([np.mean(v) for v in groups.values()])
    n = np.array([float(len(v)) for v in groups.values()])
    s = sum(((np.array(v) - np.mean(v)) ** 2).sum() for v in groups.values())
    d = float(sum(len(v) - 1 for v in groups.values()))
    if keep:
        s, d = keep
    b = bowl(*grid[:2])
    places = len(b)
    logs, means, varis, taus, sigmas = [], [], [], [], []
    for wk, k in kernels(*grid):
        for tau, sigma, (fall, wf) in itertools.product(NOISES, SPREADS, FALLS):
            v = k[np.ix_(cell, cell)] + np.diag(tau**2 / sigma**2 / n)
            vi = np.linalg.inv(v)
            r = y - fall * sigma * b[cell]
            g = f.T @ vi @ f
            beta = np.linalg.solve(g, f.T @ vi @ r)
            e = r - f @ beta
            log = np.log(wk * wf) - 0.5 * (np.log(tau / 0.06) / 0.45) ** 2 - 0.5 * (np.log(sigma / 0.16) / 0.6) ** 2
            log += -0.5 * (2 * (len(y) - len(meters)) * np.log(sigma) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(g)[1] + e @ vi @ e / sigma**2)
            log += -d * np.log(tau) - s / (2 * tau**2)
            if ask:
                t, h, extra = [ask[0]], np.array([float(m == ask[1]) for m in meters]), tau**2 / ask[2]
                ka, kaa, ba = np.zeros(places), 0.0, 0.0
            else:
                t, extra = range(places), 0.0
                h = np.zeros(len(meters)) if anchors is not None else np.ones(len(meters)) / len(meters)
                a = anchors if anchors is not None else np.zeros(places)
                ka, kaa, ba = k @ a, a @ k @ a, a @ b
            m, va = [], []
            for i in t:
                kt = k[i, cell] - ka[cell]
                rest = h - f.T @ vi @ kt
                m.append(fall * sigma * (b[i] - ba) + kt @ vi @ e + h @ beta)
                va.append(sigma**2 * (k[i, i] - 2 * ka[i] + kaa - kt @ vi @ kt + rest @ np.linalg.solve(g, rest)) + extra)
            logs.append(log)
            means.append(m)
            varis.append(va)
            taus.append(tau)
            sigmas.append(sigma)
    logs = np.array(logs)
    top = logs.max()
    w = np.exp(logs - top)
    evidence = top + np.log(w.sum())
    w /= w.sum()
    means, varis = np.array(means), np.array(varis)
    mean = w @ means
    sd = np.sqrt(np.maximum(w @ (means**2 + varis) - mean**2, 0))
    return mean, sd, float(w @ taus), float(w @ sigmas), float(evidence)


def case(name, grid, cells, repeats, meters, anchors, seed):
    rng = np.random.default_rng(seed)
    rows, cols = grid[:2]
    b = bowl(rows, cols)
    r, c = np.divmod(np.arange(rows * cols), cols)
    truth = 0.15 * b + 0.2 * (c / cols) ** 2 - 0.1 * (r / rows)
    readings = []
    for i, (cell, rep) in enumerate(zip(cells, repeats)):
        for _ in range(rep):
            m = i % meters
            readings.append((int(cell), m, round(float(truth[cell] + 0.3 * m + 0.05 * rng.standard_normal()), 4)))
    a = None
    if anchors is not None:
        a = np.zeros(rows * cols)
        for i, x in anchors:
            a[i] += x
        if not anchors:
            a[:] = 1 / (rows * cols)
    mean, sd, noise, spread, evidence = average(grid, readings, a)
    left, left_mean = [], []
    for i, (cell, m, y) in enumerate(readings):
        others = readings[:i] + readings[i + 1:]
        if not any(o[1] == m for o in others):
            left.append(None)
            continue
        e, s, *_ = average(grid, others, a, ask=(cell, m, 1))
        left.append([y - float(e[0]), float(s[0])])
    groups = list(dict.fromkeys((x[0], x[1]) for x in readings))
    values = {g: np.array([x[2] for x in readings if (x[0], x[1]) == g]) for g in groups}
    keep = (sum(((v - v.mean()) ** 2).sum() for v in values.values()), float(sum(len(v) - 1 for v in values.values())))
    for g in groups:
        others = [x for x in readings if (x[0], x[1]) != g]
        if not any(o[1] == g[1] for o in others):
            left_mean.append(None)
            continue
        e, s, *_ = average(grid, others, a, ask=(g[0], g[1], len(values[g])), keep=keep)
        left_mean.append([float(values[g].mean() - e[0]), float(s[0])])
    return {"name": name, "rows": rows, "columns": cols, "pitch_rows": grid[2], "pitch_columns": grid[3],
            "readings": readings, "anchors": None if a is None else a.tolist(), "mean": mean.tolist(), "sd": sd.tolist(),
            "noise": noise, "spread": spread, "evidence": evidence, "left_out": left, "left_out_mean": left_mean}


cases = [
    case("every place once, sensor in a corner", (3, 4, 6.0, 6.0), range(12), [1] * 12, 1, [(0, 1.0)], 1),
    case("every place twice, two sensors", (2, 4, 6.0, 5.0), range(8), [2] * 8, 1, [(1, 0.75), (6, 0.25)], 2),
    case("some places, some of them again, sensor not walked", (4, 4, 7.0, 5.0), [0, 3, 6, 9, 12], [1, 2, 1, 3, 1], 1, [(5, 1.0)], 3),
    case("two meters, one place by both, own scale", (3, 4, 6.0, 6.0), [0, 2, 5, 7, 8, 11, 0], [1, 1, 2, 1, 1, 1, 1], 2, None, 4),
    case("a sensor that speaks for the whole bin", (3, 3, 4.0, 8.0), [0, 1, 4, 5, 8], [1] * 5, 1, [], 5),
    case("one row", (1, 6, 6.0, 6.0), [0, 1, 3, 5], [1] * 4, 1, [(2, 1.0)], 6),
    case("one place, own scale", (3, 4, 6.0, 6.0), [4], [1], 1, None, 7),
    case("one place, sensor elsewhere", (3, 4, 6.0, 6.0), [4], [1], 1, [(0, 1.0)], 8),
]
print(json.dumps(cases))
