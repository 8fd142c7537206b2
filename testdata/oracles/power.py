"""Expected values of testdata/tables/power.json (scipy 1.10; R does the counts).
  python3 power.py > ../tables/power.json
The non-central F and t are integrated here over the density of the chi-squared
denominator, by a trapezoid sum in its logarithm, so that scipy's own series are
not relied on. Fisher's test is scipy.stats.fisher_exact, over every table."""
import json
import subprocess
from pathlib import Path

import numpy as np
from scipy import stats


def over_denominator(df, tail):
    """Mean of tail(y/df) over y ~ chi-squared(df)."""
    lny = np.linspace(np.log(df) - 60 / np.sqrt(df) - 20 / df, np.log(df) + 14 / np.sqrt(df) + 5 / df, 4_001)
    y = np.exp(lny)
    w = np.exp(stats.chi2.logpdf(y, df) + lny) * (lny[1] - lny[0])
    return float(np.sum(w * tail(y / df)) / np.sum(w))


def chi2_upper(x, df, lam):
    """Non-central chi-squared: a Poisson mixture (scipy's own overflows at some of these)."""
    half = lam / 2
    j = np.arange(max(0, int(half - 12 * np.sqrt(half) - 30)), int(half + 12 * np.sqrt(half) + 30))
    return sum(p * stats.chi2.sf(x, df + 2 * i) for i, p in zip(j, stats.poisson.pmf(j, half)))


def f_upper(d1, d2, lam, f):
    return over_denominator(d2, lambda v: chi2_upper(f * d1 * v, d1, lam))


def t_upper(df, delta, t):
    return over_denominator(df, lambda v: stats.norm.sf(t * np.sqrt(v) - delta))


def f_power(k, n, d):
    d2 = k * (n - 1)
    return f_upper(k - 1, d2, n * d * d / 2, stats.f.isf(0.05, k - 1, d2))


def pair_power(k, n, d):
    df = k * (n - 1)
    q = stats.studentized_range.isf(0.05, k, df)
    return t_upper(df, d * np.sqrt(n / 2), q / np.sqrt(2))


def fewest(power, about):
    n = about
    while power(n) < 0.8:
        n += 1
    while n > 2 and power(n - 1) >= 0.8:
        n -= 1
    return n


def shares(n, a, b, level):
    pa, pb = stats.binom.pmf(np.arange(n + 1), n, a), stats.binom.pmf(np.arange(n + 1), n, b)
    return float(sum(pa[x] * pb[y] for x in range(n + 1) for y in range(x)
                     if stats.fisher_exact([[x, n - x], [y, n - y]])[1] <= level))


out = {
    "upper_tail_f": [[d1, d2, lam, f, f_upper(d1, d2, lam, f)] for d1, d2, lam, f in [
        (1, 1, 3, 161.4), (1, 1, 2500, 161.4), (3, 2, 400, 19.2), (7, 3, 1e4, 900), (3, 500, 11, 2.62), (1, 1000, 7.9, 3.85),
        (2, 30, 40, 80), (5, 60, 2000, 250), (2, 1, 2600, 199.5), (3, 12, 0.01, 3.49)]],
    "upper_tail_t": [[df, d, t, t_upper(df, d, t)] for df, d, t in [
        (1, 1, 12.7), (1, 40, 12.7), (2, 10, 4.3), (3, -2, 1), (138, 2.8, 1.98), (2000, 30, 28), (5, 60, 40), (12, 0.01, 2.18), (300, 2.8, 2.6)]],
    "means": [[k, n, d, f_power(k, n, d), pair_power(k, n, d)] for k, n, d in [
        (2, 5, 1.5), (3, 4, 2), (3, 33, 0.8), (4, 13, 1.4142135623730951), (4, 147, 0.4), (8, 9, 2), (8, 188, 0.4), (12, 3, 3)]],
    "means_replicates": [[k, d, fewest(lambda n: f_power(k, n, d), about), fewest(lambda n: pair_power(k, n, d), about)] for k, d, about in [
        (2, 0.5, 64), (3, 0.8, 32), (4, 0.4, 140), (8, 2, 9)]],
    "shares": [[n, a, b, pairs, shares(n, a, b, 0.05 / pairs)] for n, a, b, pairs in [
        (10, 0.8, 0.2, 1), (24, 0.6, 0.25, 1), (36, 0.5, 0.1, 6), (50, 0.3, 0.0, 1), (12, 1.0, 0.3, 3), (61, 0.45, 0.2, 1)]],
    "counts": json.loads(subprocess.run(["Rscript", str(Path(__file__).with_name("power_counts.R"))], check=True, capture_output=True, text=True).stdout),
}
print("{\n" + ",\n".join(f' "{k}": [\n' + ",\n".join("  " + json.dumps(row) for row in rows) + "\n ]" for k, rows in out.items()) + "\n}")
