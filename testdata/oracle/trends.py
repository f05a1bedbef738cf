#!/usr/bin/python3
"""Writes trends.json: Mann-Kendall, Theil-Sen and the best single step by SciPy and NumPy.

Run: python3 trends.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import itertools

import numpy as np
from scipy import stats

from common import Readings, write

rng = Readings(5)


def kendall(x):
    """S, its variance and Z counted over pairs and over all ties; P exact by SciPy where there are none."""
    n = len(x)
    s = sum(int(np.sign(b - a)) for a, b in itertools.combinations(x, 2))
    _, t = np.unique(x, return_counts=True)
    var = (n * (n - 1) * (2 * n + 5) - np.sum(t * (t - 1) * (2 * t + 5))) / 18
    z = (s - np.sign(s)) / np.sqrt(var)
    exact = n <= 10 and len(t) == n
    p = stats.kendalltau(np.arange(n), x, method="exact").pvalue if exact else 2 * stats.norm.sf(abs(z))
    return {"x": list(x), "s": s, "var": float(var), "z": float(z), "exact": exact, "p": float(p)}


kendalls = [kendall([round(k * slope + rng.normal(), digits) for k in range(n)])
            for n in [4, 6, 9, 10, 11, 30] for slope in [0, 0.4] for digits in [6, 0]]

slopes = []
for n, digits in [(5, 6), (12, 6), (30, 1), (30, 0), (25, 6), (40, 6)]:
    x = [round(100 * rng.even(), digits) for _ in range(n)]
    y = [round(0.05 * v + rng.normal(), digits) for v in x]
    r = stats.theilslopes(y, x, method="separate")
    pairs = [(y[j] - y[i]) / (x[j] - x[i]) for i, j in itertools.combinations(range(n), 2) if x[i] != x[j]]
    slopes.append({"x": x, "y": y, "slope": r.slope, "intercept": r.intercept, "pairs": len(pairs),
                   # Its interval has the whole ranks of Hollander and Wolfe; with ties it takes a simpler variance.
                   "lo": r.low_slope, "hi": r.high_slope, "tied": len(set(x)) < n or len(set(y)) < n})

steps = []
for n, at, size in [(8, 3, 3), (20, 10, 1.5), (40, 31, -2), (25, 0, 0)]:
    x = [rng.normal() + (size if i >= at else 0) for i in range(n)]
    cost = {k: np.var(x[:k]) * k + np.var(x[k:]) * (n - k) for k in range(2, n - 1)}
    k = min(cost, key=cost.get)
    t = stats.ttest_ind(x[k:], x[:k])
    diff = np.mean(x[k:]) - np.mean(x[:k])
    steps.append({"x": x, "k": k, "rss0": float(np.var(x) * n), "rss1": float(cost[k]),
                  "glr": float(n * np.log(np.var(x) * n / cost[k])), "step": float(diff), "u": float(diff / t.statistic)})

write(__file__, {"kendall": kendalls, "theil_sen": slopes, "steps": steps})
