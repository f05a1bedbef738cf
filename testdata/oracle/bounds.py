#!/usr/bin/python3
"""Writes bounds.json: trends and lines where some readings are only bounds, and weighted lines, by NumPy and SciPy.

Mann-Kendall with bounds: S by counting sure pairs, its variance by playing every order of the spans in time. The slope
of Akritas, Murphy and LaValley: S of the residuals on either side of every slope at which a pair turns. The line with
bounds: the score equations of SciPy's normal law solved, its profile by root finding. Weighted lines:
NumPy, and where they cross a level by root finding on Student's t.
Run: python3 bounds.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import itertools

import numpy as np
from scipy import optimize, special, stats

from common import Readings, write

rng = Readings(17)
INF = float("inf")


def spans(y, floor=-INF, ceiling=INF):
    """Readings below floor are "at most floor", those above ceiling "at least ceiling"."""
    return [(-INF, floor) if v < floor else (ceiling, INF) if v > ceiling else (v, v) for v in y]


def plain(s):
    """JSON has no infinity: null stands for an open end."""
    return [[None if abs(v) == INF else v for v in p] for p in s]


def sure(a, b):
    """1 where b surely lies above a, -1 below."""
    return int(b[0] > a[1]) - int(b[1] < a[0])


def score(s):
    return sum(sure(a, b) for a, b in itertools.combinations(s, 2))


def kendall(s):
    everything = np.array([score(o) for o in itertools.permutations(s)])
    return {"spans": plain(s), "s": score(s), "var": float(np.mean(everything.astype(float)**2))}


def turning(x, s):
    """Every slope at which a pair begins or ceases to rise or fall."""
    out = set()
    for (xa, a), (xb, b) in itertools.combinations(sorted(zip(x, s)), 2):
        if xb > xa:
            out |= {(b[0] - a[1]) / (xb - xa), (b[1] - a[0]) / (xb - xa)}
    return np.array(sorted(v for v in out if abs(v) < INF))


def theil_sen(x, s):
    t = turning(x, s)
    middles = np.concatenate([[t[0] - 1], (t[1:] + t[:-1]) / 2, [t[-1] + 1]])
    order = np.argsort(x)

    def rest(b):
        return sum(sure(*[(s[k][0] - b * x[k], s[k][1] - b * x[k]) for k in pair])
                   for pair in itertools.combinations(order, 2) if x[pair[0]] < x[pair[1]])

    r = np.array([rest(b) for b in middles])  # on the stretches between the slopes
    lower = t[np.flatnonzero(r > 0)[-1]]
    upper = t[np.flatnonzero(r < 0)[0] - 1]
    return {"x": list(x), "spans": plain(s), "slope": float((lower + upper) / 2)}


def loglik(m, sd, s):
    """Log likelihood of spans about the heights m, with its derivatives by m and by ln sd."""
    lo, hi = np.array([p[0] for p in s]), np.array([p[1] for p in s])
    value, least = lo == hi, hi == INF
    side = np.where(value, 0, np.where(least, 1, -1))
    z = (np.where(side < 0, hi, lo) - m) / sd
    r = -side * z  # a bound is kept with Phi(r)
    h = np.exp(stats.norm.logpdf(r) - special.log_ndtr(r))
    top = np.where(value, stats.norm.logpdf(z) - np.log(sd), special.log_ndtr(r))
    return np.sum(top), np.where(value, z, side * h) / sd, np.sum(np.where(value, z * z - 1, -h * r))


def solve(f, start):
    r = optimize.root(f, start, tol=1e-13)
    assert np.max(np.abs(f(r.x))) < 1e-9, r
    return r.x


def censored(x, s, level):
    x = np.array(x)
    exact = [(xi, lo) for xi, (lo, hi) in zip(x, s) if lo == hi]
    b0, a0 = np.polyfit(*zip(*exact), 1)
    n = len(exact)
    t = stats.t.ppf(0.975, n - 2)
    critical = n * np.log(1 + t * t / (n - 2))

    def line(p):
        _, dm, dl = loglik(p[0] + p[1] * x, np.exp(p[2]), s)
        return [np.sum(dm), np.sum(dm * x), dl]

    a, b, l = solve(line, [a0, b0, np.log(np.std(np.array([v - a0 - b0 * xi for xi, v in exact])) * 1.3)])
    top = loglik(a + b * x, np.exp(l), s)[0]
    at = (level - a) / b

    def profile(c):
        def f(p):
            _, dm, dl = loglik(level + p[0] * (x - c), np.exp(p[1]), s)
            return [np.sum(dm * (x - c)), dl]
        p = solve(f, [b * (x.mean() - at) / (x.mean() - c), l])
        return 2 * (top - loglik(level + p[0] * (x - c), np.exp(p[1]), s)[0]) - critical

    def level_only(p):
        _, dm, dl = loglik(p[0] + 0 * x, np.exp(p[1]), s)
        return [np.sum(dm), dl]

    p = solve(level_only, [a + b * x.mean(), np.log(np.std([v for _, v in exact]))])
    tilted = bool(2 * (top - loglik(p[0] + 0 * x, np.exp(p[1]), s)[0]) > critical)

    def end(step):
        far = step
        while profile(at + far) < 0:
            far *= 1.3
        return float(optimize.brentq(profile, at, at + far, xtol=1e-12))

    span = np.ptp(x)
    return {"x": list(x), "spans": plain(s), "level": level, "intercept": float(a), "slope": float(b), "s": float(np.exp(l)), "loglik": float(top),
            "tilted": tilted, "at": float(at), "lo": end(-span / 8) if tilted else None, "hi": end(span / 8) if tilted else None}


def weighted(x, y, u, level, common):
    w = np.array([1 / v**2 for v in u])
    w /= w.mean()
    x, y = np.array(x), np.array(y)
    g = np.vstack([np.ones_like(x), x]).T
    cov = np.linalg.inv(g.T @ (w[:, None] * g))
    a, b = cov @ g.T @ (w * y)
    n = len(x)
    s = np.sqrt(np.sum(w * (y - a - b * x)**2) / (n - 2))
    t, z = stats.t.ppf(0.975, n - 2), stats.norm.ppf(0.975)
    at = (level - a) / b

    def beyond(extra):
        def f(c):
            v = np.array([1, c])
            return (level - a - b * c)**2 - t * t * s * s * (extra + v @ cov @ v) - (z * common)**2
        return f

    def ends(f):
        step = np.ptp(x)
        return [float(optimize.brentq(f, at + k * 1e4 * step, at, xtol=1e-10)) for k in (-1, 1)]

    lo, hi = ends(beyond(1))
    mlo, mhi = ends(beyond(0))
    return {"x": list(x), "y": list(y), "u": list(u), "level": level, "common": common, "intercept": float(a), "slope": float(b), "s": float(s),
            "u_slope": float(s * np.sqrt(cov[1, 1])), "at": float(at), "lo": lo, "hi": hi, "mean_lo": mlo, "mean_hi": mhi}


few = [[round(-0.6 * k + rng.normal(), 2) for k in range(7)] for _ in range(4)]
kendalls = [kendall(spans(few[0])), kendall(spans(few[1], ceiling=-1)), kendall(spans(few[2], floor=-2.5)),
            kendall(spans(few[3], floor=-3, ceiling=-0.5)), kendall(spans([round(v) for v in few[0]], ceiling=-1))]

slopes, lines = [], []
for n, slope, kind in [(9, -0.2, {}), (9, -0.9, {}), (12, -0.8, {"ceiling": -2}), (15, 0.4, {"floor": 1.5}), (20, -0.6, {"ceiling": -3}), (14, -0.7, {"floor": -7, "ceiling": -2})]:
    x = [float(k + 1) for k in range(n)]
    s = spans([round(slope * v + rng.normal(), 4) for v in x], **kind)
    slopes.append(theil_sen(x, s))
    lines.append(censored(x, s, 1.6 * slope * n))
slopes.append(theil_sen([3.0, 1.0, 2.0, 2.0, 5.0, 4.0], spans([4.1, 1.0, 2.2, 2.0, 4.8, 9.0], ceiling=4.5)))

weights = []
for n, common in [(6, 0.0), (6, 0.7), (12, 0.3)]:
    x = [float(round(20 * rng.even(), 2)) for _ in range(n)]
    u = [round(0.2 + rng.even(), 2) for _ in range(n)]
    y = [round(40 - 1.4 * v + k * rng.normal(), 3) for v, k in zip(x, u)]
    weights.append(weighted(x, y, u, 5.0, common))

write(__file__, {"kendall": kendalls, "theil_sen": slopes, "lines": lines, "weighted": weights})
