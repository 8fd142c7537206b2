# The daily light integral of sensors whose readings lie in numpy arrays, as a
# peer in speed: trapezoids between readings no further apart than ten minutes,
# cut at midnight. Every line on standard input is a request to integrate all of
# it once; the answer is how many seconds that took.
#   python3 light_arrays.py SENSORS DAYS
import sys
import time

import numpy as np

sensors, days = int(sys.argv[1]), int(sys.argv[2])
DAY, MAX_GAP = 86400.0, 600.0
rng = np.random.default_rng(1)
minute = np.arange(days * 1440)
lit = minute % 1440 < 14 * 60
readings = [
    (minute * 60.0, np.where(lit, np.round(85 + 0.43 * rng.standard_normal(len(minute)), 1), 0))
    for _ in range(sensors)
]
bounds = np.arange(1, days) * DAY


def integrate(t, x):
    at = np.searchsorted(t, bounds)
    new = np.flatnonzero(t[at] != bounds)  # no reading at midnight: one on the line
    if len(new):
        x = np.insert(x, at[new], np.interp(bounds[new], t, x))
        t = np.insert(t, at[new], bounds[new])
        at = np.searchsorted(t, bounds)
    step = t[1:] - t[:-1]
    area = x[1:] + x[:-1]
    area *= step
    if step.max() > MAX_GAP:
        area[step > MAX_GAP] = 0
    return np.add.reduceat(area, np.concatenate([[0], at])) / 2e6


for _ in sys.stdin:
    begun = time.perf_counter()
    for t, x in readings:
        integrate(t, x)
    print(time.perf_counter() - begun, flush=True)
