# The harvest analysis of a made-up trial by numpy, scipy and statsmodels, as a
# peer in speed: harvest.R with a negative binomial, without adjusted means.
#   python3 harvest.py FILE      a table that harvest.R gen has written
import sys

import numpy as np
import pandas as pd
import statsmodels.api as sm
import statsmodels.formula.api as smf
from statsmodels.stats.multicomp import pairwise_tukeyhsd

d = pd.read_csv(sys.argv[1])
m = smf.ols("mass ~ C(treatment) + C(bin) + dli", d).fit()
sm.stats.anova_lm(m, typ=2)
pairwise_tukeyhsd(d.mass, d.treatment).summary()
smf.glm("shoots ~ C(treatment) + C(bin) + dli", d, family=sm.families.Poisson()).fit().summary()
smf.negativebinomial("shoots ~ C(treatment) + C(bin) + dli", d).fit(disp=0).summary()

rng = np.random.default_rng(1)
X = np.asarray(m.model.exog)
stays = [i for i, name in enumerate(m.model.exog_names) if "treatment" not in name]
Q1, Q0 = np.linalg.qr(X)[0], np.linalg.qr(X[:, stays])[0]
f = Q0 @ (Q0.T @ d.mass.values)
r = d.mass.values - f
Y = f[:, None] + rng.permuted(np.tile(r, (10000, 1)), axis=1).T
ss = (Y**2).sum(0)
s1, s0 = ss - ((Q1.T @ Y) ** 2).sum(0), ss - ((Q0.T @ Y) ** 2).sum(0)
print(((s0 - s1) / s1 >= ((r**2).sum() - m.ssr) / m.ssr).mean())

place = d[["row", "col"]].values
W = (np.abs(place[:, None] - place[None]).sum(2) == 1) & (d.bin.values[:, None] == d.bin.values)
W = W.astype(float)
z = m.resid.values
Z = rng.permuted(np.tile(z, (9999, 1)), axis=1)
print((1 + (np.einsum("ij,ij->i", Z, Z @ W) >= z @ W @ z).sum()) / 10000)
