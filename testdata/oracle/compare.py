#!/usr/bin/python3
"""Writes compare.json: two sides of five measures, by assemblies, through SciPy and statsmodels: the yardstick of package
compare and of the rank shift of package stats.

Run: python3 compare.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10, statsmodels 0.13)
"""
import warnings
from itertools import combinations

import numpy as np
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from common import Readings, write

warnings.simplefilter("ignore", RuntimeWarning)  # the search for a power tries values where a tail is 0
rng = Readings(71)


def shift(x, y):
    """Hodges-Lehmann: the median of all x - y, and the order statistics that hold it with 95 %. The law of the rank
    sum is enumerated up to 64 differences, normal above 900 (Hollander and Wolfe, section 4.3)."""
    n, m = len(x), len(y)
    d = np.sort(np.subtract.outer(x, y).ravel())
    if n * m <= 64:
        law = np.bincount([sum(c) - n * (n - 1) // 2 for c in combinations(range(n + m), n)], minlength=n * m + 1)
        below = np.cumsum(law / law.sum())
        k = int(np.sum(below <= 0.025))
        coverage = 1 - 2 * below[k - 1] if k else None
    else:
        sd = np.sqrt(n * m * (n + m + 1) / 12)
        k = int(np.floor(n * m / 2 - stats.norm.ppf(0.975) * sd))
        coverage = 1 - 2 * stats.norm.cdf((k - n * m / 2 - 0.5) / sd)
    return {"value": np.median(d), "lo": d[k - 1] if k else None, "hi": d[n * m - k] if k else None, "coverage": coverage}


def detectable(df, power=0.8):
    """In standard errors, by the noncentral t law."""
    t = stats.t.ppf(0.975, df)
    return optimize.brentq(lambda d: stats.nct.sf(t, df, d) + stats.nct.cdf(-t, df, d) - power, 0.1, 100, xtol=1e-12)


# Measures with mean, scatter between assemblies and between repeats, shift of the second side, and margin.
MEASURES = {"play": (0.5, 0.03, 0.01, -0.25, 0.1), "compliance": (3.0, 0.2, 0.05, 0.05, 0.9), "friction": (0.03, 0.004, 0.001, 0.006, 0.004),
            "creep": (0.2, 0.05, 0.02, 0.0, 0.06), "torque_use": (0.3, 0.01, 0.005, 0.08, 0.02)}
REPEATS = {"a": [1, 3, 2, 1, 2], "b": [2, 1, 4, 2, 1]}

measures = []
for name, (mean, between, within, moved, margin) in MEASURES.items():
    out = {"name": name, "margin": margin}
    units = {}
    for side, repeats in REPEATS.items():
        spread = between * (1.5 if side == "b" else 1)
        groups = []
        for n in repeats:
            own = mean + (moved if side == "b" else 0) + spread * rng.normal()
            groups.append([round(own + within * rng.normal(), 6) for _ in range(n)])
        out[side], units[side] = groups, np.array([np.mean(g) for g in groups])
    a, b = units["a"], units["b"]
    c = CompareMeans(DescrStatsW(b), DescrStatsW(a))
    t, p, df = c.ttest_ind(usevar="unequal")
    lo, hi = c.tconfint_diff(usevar="unequal")
    same, _ = c.ttost_ind(-margin, margin, usevar="unequal")
    se = (hi - lo) / 2 / stats.t.ppf(0.975, df)
    perm = stats.permutation_test((b, a), lambda x, y, axis: np.mean(x, axis=axis) - np.mean(y, axis=axis), vectorized=True, n_resamples=np.inf)
    null = perm.null_distribution
    out.update({"difference": np.mean(b) - np.mean(a), "u": (hi - lo) / 2, "df": df, "p": p, "same": same, "detectable": se * detectable(df),
                "permuted": float(np.mean(np.abs(null) >= abs(perm.statistic) - 1e-12)), "shift": shift(b, a)})
    measures.append(out)
for out, p in zip(measures, multipletests([m["p"] for m in measures], method="holm")[1]):
    out["adjusted"] = p

shifts = []
for n, m in [(3, 8), (6, 5), (8, 8), (40, 35), (101, 64)]:
    x, y = [round(1 + rng.normal(), 3) for _ in range(n)], [round(2 * rng.normal(), 3) for _ in range(m)]
    shifts.append({"x": x, "y": y, **shift(np.array(x), np.array(y))})

powers = [{"df": df, "errors": detectable(df)} for df in [1, 1.05, 1.5, 2, 3.7, 9, 40, 300]]

write(__file__, {"measures": measures, "shifts": shifts, "powers": powers})
