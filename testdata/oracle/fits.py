#!/usr/bin/python3
"""Writes fits.json: linear and nonlinear least squares by statsmodels and SciPy, the yardstick of package stats.

Run: python3 fits.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10, statsmodels 0.13)
"""
import numpy as np
import statsmodels.api as sm
from scipy import optimize, stats

from common import Readings, write

rng = Readings(3)


def fit(name, columns, y, w=None):
    x = np.array(columns).T
    r = sm.OLS(y, x).fit() if w is None else sm.WLS(y, x, weights=w).fit()
    at = x.mean(axis=0) * 1.5
    new = r.get_prediction(at[None, :])
    return {"name": name, "columns": np.array(columns).tolist(), "y": list(y), "w": [] if w is None else list(w),
            "coef": r.params.tolist(), "se": r.bse.tolist(), "cov": r.cov_params().tolist(), "s": float(np.sqrt(r.scale)),
            "rss": float(r.ssr), "df": float(r.df_resid), "resid": r.resid.tolist(),
            "row": at.tolist(), "height": float(new.predicted_mean[0]), "height_se": float(new.se_mean[0])}


# A joint's torque: inertia, viscous and dry friction, gravity, offset; with and without weights.
n = 60
phase = np.linspace(0, 2 * np.pi, n, endpoint=False)
angle, speed, acc = 0.9 * np.sin(phase), 3 * np.cos(phase), -10 * np.sin(phase)
columns = [acc, speed, np.sign(speed), np.sin(angle), np.ones(n)]
columns = [np.round(c, 6) for c in columns]
torque = np.round(np.dot([0.0036, 0.004, 0.05, 0.27, 0.01], columns) + 0.01 * np.array(rng.normals(n)), 6)
weights = [round(0.2 + rng.even(), 6) for _ in range(n)]
linear = [fit("torque", columns, torque), fit("torque, weighted", columns, torque, weights)]
# A deflection loop with and without its dead zone: nested models.
load = np.round(np.linspace(-0.4, 0.4, 40), 6)
defl = np.round(0.05 + 0.15 * np.sign(load) + 2 * load + 0.04 * np.array(rng.normals(40)), 6)
line, loop = [np.ones(40), load], [np.ones(40), load, np.sign(load)]
linear += [fit("line", line, defl), fit("line and dead zone", loop, defl)]
small, great = sm.OLS(defl, np.array(line).T).fit(), sm.OLS(defl, np.array(loop).T).fit()
f, p, _ = great.compare_f_test(small)
nested = {"small": 2, "great": 3, "n": 40, "rss_small": small.ssr, "rss_great": great.ssr, "f": f, "p": p,
          # statsmodels counts n·ln(2π) + n as well: only differences mean anything.
          "bic_great_less_small": great.bic - small.bic}

# Straight lines: slope, intercept, their standard errors, band at a place.
lines = []
for x, y in [(load, defl), (np.arange(12.0), np.round(40 - 0.3 * np.arange(12) + 0.5 * np.array(rng.normals(12)), 6)),
             (np.arange(6.0) + 1e6, np.round(1e3 + 0.5 * np.arange(6) + 0.1 * np.array(rng.normals(6)), 6))]:
    r = stats.linregress(x, y)
    g = sm.OLS(y, sm.add_constant(x - x.mean())).fit()
    at = float(x[-1] + (x[-1] - x[0]) / 2)
    q = g.get_prediction([[1, at - x.mean()]]).summary_frame(alpha=0.05)
    lines.append({"x": x.tolist(), "y": y.tolist(), "slope": r.slope, "slope_se": r.stderr, "p": r.pvalue,
                  "centred_intercept": float(g.params[0]), "s": float(np.sqrt(g.scale)), "at": at,
                  "height": float(q["mean"][0]), "mean_half": float(q["mean_ci_upper"][0] - q["mean"][0]),
                  "reading_half": float(q["obs_ci_upper"][0] - q["mean"][0])})

# Curves: a ring-down, a Stribeck curve and a creep law, each from a start that is off.
curves = []


def curve(name, model, true, start, x, noise):
    y = np.round(model(x, *true) + noise * np.array(rng.normals(len(x))), 6)
    best, cov = optimize.curve_fit(model, x, y, p0=start, method="lm", ftol=1e-15, xtol=1e-15, gtol=1e-15, maxfev=100000)
    r = model(x, *best) - y
    curves.append({"name": name, "x": x.tolist(), "y": y.tolist(), "start": start, "coef": best.tolist(),
                   "se": np.sqrt(np.diag(cov)).tolist(), "rss": float(r @ r)})


def ring(t, a, hz, zeta, ph, rest):
    return rest + a * np.exp(-2 * np.pi * hz * zeta * t) * np.cos(2 * np.pi * hz * t + ph)


def stribeck(v, c, s, vs, b):
    return c + (s - c) * np.exp(-((v / vs) ** 2)) + b * v


def creep(t, d0, a, e):
    return d0 + a * t**e


curve("ring-down", ring, [4, 9, 0.07, 0.3, 12], [3, 8.5, 0.05, 0, 11], np.round(np.arange(200) / 250, 6), 0.05)
curve("stribeck", stribeck, [0.05, 0.08, 20, 0.0002], [0.04, 0.1, 10, 0.001], np.round(np.linspace(1, 200, 80), 6), 0.001)
curve("creep", creep, [0.2, 0.1, 0.25], [0, 0.2, 0.4], np.round(np.geomspace(1, 1000, 50), 6), 0.01)

write(__file__, {"linear": linear, "nested": nested, "lines": lines, "curves": curves})
