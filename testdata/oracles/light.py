# The daily light integral of each sensor by pandas and numpy, as a peer in
# speed: trapezoids between readings no further apart than ten minutes, cut at
# midnight.
#   python3 light.py FILE      sensor (a number), Unix seconds, µmol m⁻² s⁻¹
import sys

import numpy as np
import pandas as pd

d = pd.read_csv(sys.argv[1])
for sensor, part in d.groupby("sensor", sort=True):
    t, x = part.time.values.astype(float), part.value.values
    new = np.setdiff1d(np.arange(np.ceil(t[0] / 86400) * 86400, t[-1], 86400), t)
    if len(new):
        x = np.concatenate([x, np.interp(new, t, x)])
        t = np.concatenate([t, new])
        order = np.argsort(t)
        t, x = t[order], x[order]
    step = np.diff(t)
    area = np.where(step <= 600, step * (x[1:] + x[:-1]) / 2, 0)
    day = (t[:-1] // 86400).astype(int)
    for n, mol in enumerate(np.bincount(day - day[0], area) / 1e6):
        print(sensor, day[0] + n, mol, sep=",")
