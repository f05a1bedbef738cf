#!/usr/bin/python3
"""Writes bootstrap.json: what resampling cycles tends to, by enumeration of every resample, and SciPy's intervals.

Run: python3 bootstrap.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import itertools
import math

import numpy as np
from scipy import stats

from common import Readings, write

rng = Readings(7)
FIGURES = {"mean": np.mean, "median": np.median, "sd": lambda v: np.std(v, ddof=1) if np.ptp(v) > 0 else 0.0,
           "range": np.ptp}


def enumerate_resamples(x, figure):
    """Every multiset of n of n readings with its multinomial probability."""
    n = len(x)
    values, weights = [], []
    for pick in itertools.combinations_with_replacement(range(n), n):
        w = math.factorial(n)
        for c in np.bincount(pick):
            w //= math.factorial(int(c))
        values.append(float(figure([x[i] for i in pick])))
        weights.append(w)
    order = np.argsort(values, kind="stable")
    values, weights = np.array(values)[order], np.array(weights, float)[order] / n**n
    return values, weights


def ideal(x, name):
    v, w = enumerate_resamples(x, FIGURES[name])
    mean = float(v @ w)
    # Where the law jumps at 2.5 %, a finite bootstrap may end on either side of the jump: both ends are given,
    # half a percent of probability about it.
    cum = np.cumsum(w)
    end = lambda p: float(v[min(len(v) - 1, np.searchsorted(cum, p))])
    return {"figure": name, "x": list(x), "resamples": len(v), "value": float(FIGURES[name](x)), "se": float(np.sqrt(w @ (v - mean) ** 2)),
            "bias": mean - float(FIGURES[name](x)), "lo": [end(0.02), end(0.03)], "hi": [end(0.97), end(0.98)]}


mouse = [94, 197, 16, 38, 99, 141, 23]  # Efron and Tibshirani 1993, table 2.1
five = [round(0.6 + 0.05 * rng.normal(), 6) for _ in range(5)]
exact = [ideal(mouse, "mean"), ideal(mouse, "median")] + [ideal(five, f) for f in FIGURES]

# Smooth figures of ten cycles: SciPy's percentile and bias-corrected intervals.
ten = [round(2 + 0.3 * rng.normal(), 6) for _ in range(10)]
other = [round(1 + 0.1 * rng.normal(), 6) for _ in range(10)]
smooth = []
for name, data, figure in [("mean", (ten,), lambda a, axis: np.mean(a, axis=axis)),
                           ("ratio of means", (ten, other), lambda a, b, axis: np.mean(a, axis=axis) / np.mean(b, axis=axis))]:
    intervals = {}
    for method in ["percentile", "BCa"]:
        r = stats.bootstrap(data, figure, paired=True, vectorized=True, n_resamples=200000, batch=20000, method=method, random_state=1)
        intervals[method.lower()] = [float(r.confidence_interval.low), float(r.confidence_interval.high)]
    smooth.append({"figure": name, "data": [list(d) for d in data], "monte_carlo": {**intervals, "se": float(r.standard_error)}})

write(__file__, {"exact": exact, "smooth": smooth})
