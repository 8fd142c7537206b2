"""Universal kriging by plain linear algebra, for comparison with light/field.

Written apart from the Go code: the augmented kriging system with Lagrange
multipliers (Cressie 1993, section 3.4, from memory) in place of generalised
least squares, and leave-one-out by really leaving each site out.

Run: python3 kriging.py > kriging.json   (numpy 1.24 was used)
"""
import json
import numpy as np

rng = np.random.default_rng(20260721)
rows, cols, pitch_r, pitch_c = 7, 8, 6.0, 7.0
phi, lam, sill = 22.0, 0.15, 0.012
cells = [(r, c) for r in range(1, rows + 1) for c in range(1, cols + 1)]
pick = sorted(rng.choice(len(cells), 26, replace=False).tolist())
n_rep = rng.integers(1, 4, len(pick)).astype(float)
xy = np.array([(c * pitch_c, r * pitch_r) for r, c in cells])
center = np.array([pitch_c * (cols + 1) / 2, pitch_r * (rows + 1) / 2])
scale = center.max()


def rho(h):
    a = np.sqrt(5) * h / phi
    return (1 + a + a * a / 3) * np.exp(-a)


def dist(a, b):
    return np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])


def trend(p, degree):
    f = np.ones((len(p), 1 + degree))
    if degree == 2:
        f[:, 1:] = (p - center) / scale
    return f


y = 0.4 * np.exp(-((xy[pick] - center - [5, -4]) ** 2).sum(1) / 600) + 0.04 * rng.standard_normal(len(pick))
y = np.round(y, 4)


def solve(sites, values, nug, targets, degree):
    """The augmented system, one target at a time: mean, and error covariance."""
    f, f0 = trend(sites, degree), trend(targets, degree)
    n, p = f.shape
    a = np.zeros((n + p, n + p))
    a[:n, :n] = rho(dist(sites, sites)) + np.diag(nug)
    a[:n, n:], a[n:, :n] = f, f.T
    b = np.vstack([rho(dist(sites, targets)), f0.T])
    w = np.linalg.solve(a, b)
    lam_ = w[:n]
    mean = lam_.T @ values
    v = a[:n, :n]
    c = rho(dist(sites, targets))
    cov = rho(dist(targets, targets)) - lam_.T @ c - c.T @ lam_ + lam_.T @ v @ lam_
    return mean, cov, lam_


out = {"rows": rows, "columns": cols, "pitch_rows": pitch_r, "pitch_columns": pitch_c, "range": phi, "lambda": lam,
       "sill": sill, "positions": [cells[i] for i in pick], "repeats": n_rep.tolist(), "values": y.tolist(), "cases": []}
for degree in (0, 2):
    nug = lam / n_rep
    mean, cov, w = solve(xy[pick], y, nug, xy, degree)
    loo = []
    for i in range(len(pick)):
        keep = [j for j in range(len(pick)) if j != i]
        m, _, _ = solve(xy[pick][keep], y[keep], nug[keep], xy[pick][[i]], degree)
        loo.append(float(y[i] - m[0]))
    # restricted likelihood from its definition: likelihood of error contrasts
    f = trend(xy[pick], degree)
    q, _ = np.linalg.qr(f, mode="complete")
    k = q[:, f.shape[1]:]
    v = rho(dist(xy[pick], xy[pick])) + np.diag(nug)
    z = k.T @ y
    kv = k.T @ v @ k
    quad = float(z @ np.linalg.solve(kv, z))
    out["cases"].append({"degree": degree, "mean": mean.tolist(), "se": np.sqrt(sill * np.diag(cov)).tolist(),
                         "covariance_first_row": (sill * cov[0]).tolist(), "weights_of_first_position": w[:, 0].tolist(),
                         "leave_one_out": loo, "quadratic_form": quad,
                         "log_det": float(np.linalg.slogdet(kv)[1] + np.linalg.slogdet(f.T @ f)[1])})
print(json.dumps(out, indent=1))
