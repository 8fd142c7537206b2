"""Expected values of the pooling of trials, by numpy and scipy; writes pooled.json.

    python3 testdata/trials/pooled.py

Another route than the Go code: weighted least squares for Q, scipy's
distributions, brentq on the logarithm of the variance between trials.
"""

import csv
import json
import pathlib

import numpy as np
import scipy
from scipy import optimize, stats

HERE = pathlib.Path(__file__).parent


def vaccine():
    """Log relative risks with large-sample standard errors."""
    y, se = [], []
    with open(HERE / "vaccine.csv", newline="") as f:
        for r in csv.DictReader(f):
            a, b, c, d = (int(r[k]) for k in ("ill_vaccinated", "well_vaccinated", "ill_others", "well_others"))
            y.append(np.log(a / (a + b)) - np.log(c / (c + d)))
            se.append(np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)))
    return y, se, [None] * len(y)


def cochran_q(y, variance):
    root = 1 / np.sqrt(variance)
    beta = np.linalg.lstsq(root[:, None], y * root, rcond=None)[0]
    return float(np.sum((y * root - beta[0] * root) ** 2))


def pooled(name, y, se, df):
    y, v, k = np.array(y), np.array(se) ** 2, len(y)
    nu = np.array([np.inf if d is None else d for d in df])
    q = cochran_q(y, v)
    share = 1 - (1 / v) / np.sum(1 / v)
    lam = np.sum(share**2 / nu)
    if lam > 0:
        p = stats.f.sf(q / (k - 1) / (1 + 2 * (k - 2) * lam / (k * k - 1)), k - 1, (k * k - 1) / (3 * lam))
    else:
        p = stats.chi2.sf(q, k - 1)
    tau2 = []
    for point in (0.975, 0.025):
        want = stats.chi2.ppf(point, k - 1)
        if q <= want:  # below the upper end's point the profile gives no interval
            tau2 = None if point == 0.025 else [0.0]
            continue
        tau2.append(float(np.exp(optimize.brentq(lambda t: cochran_q(y, v + np.exp(t)) - want, -60, 40, xtol=1e-14))))
    s2, within = y.var(ddof=1), v.mean()
    these_df = v.sum() ** 2 / np.sum(v**2 / nu) if np.isfinite(nu).any() else np.inf
    these, like = np.sqrt(v.sum()) / k, np.sqrt(max(s2, within) / k)
    t = stats.t.ppf(0.975, these_df) if np.isfinite(these_df) else stats.norm.ppf(0.975)
    t_like = stats.t.ppf(0.975, k - 1)
    m = y.mean()
    return {
        "name": name, "value": list(map(float, y)), "se": list(map(float, se)), "df": df,
        "q": q, "p": float(p), "mean": float(m),
        "these_se": float(these), "these_ci95": [float(m - t * these), float(m + t * these)],
        "like_se": float(like), "like_ci95": [float(m - t_like * like), float(m + t_like * like)],
        "between": float(np.sqrt(max(0, s2 - within))), "between_ci95": None if tau2 is None else list(np.sqrt(tau2)),
    }


cases = [
    pooled("vaccine", *vaccine()),
    pooled("two alike", [0.21, 0.24], [0.08, 0.11], [40, 61]),
    pooled("two apart", [-0.4, 0.5], [0.1, 0.2], [5, 3]),
    pooled("three, few bins", [1.2, 0.4, 0.9], [0.3, 0.5, 0.2], [2, 4, 3]),
    pooled("four, one precise", [0.05, 0.31, -0.12, 0.44], [0.02, 0.09, 0.12, 0.1], [138, 40, 22, None]),
    pooled("three equal", [2.0, 2.0, 2.0], [0.5, 0.25, 1.0], [10, 10, 10]),
]
(HERE / "pooled.json").write_text(
    json.dumps({"by": f"numpy {np.__version__}, scipy {scipy.__version__}", "cases": cases}, indent=1) + "\n"
)
