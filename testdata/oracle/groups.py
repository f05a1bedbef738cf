#!/usr/bin/python3
"""Writes groups.json: comparisons of groups by SciPy and statsmodels, the yardstick of package stats.

Run: python3 groups.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10, statsmodels 0.13)
"""
import warnings

import numpy as np
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import tt_ind_solve_power
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW
from statsmodels.tsa.stattools import acf

from common import Readings, write

warnings.simplefilter("ignore", RuntimeWarning)  # the search for a power tries a difference of nothing
rng = Readings(13)


def sample(n, mean, sd, digits=6):
    return [round(mean + sd * rng.normal(), digits) for _ in range(n)]


pairs = []
for n, m, shift, spread, digits in [(5, 5, 0, 1, 6), (5, 8, 1, 3, 6), (8, 8, 2, 0.5, 6), (12, 9, -0.4, 1, 6), (12, 9, 1, 1, 0), (60, 50, 0.3, 1.5, 6)]:
    x, y = sample(n, 10 + shift, 1, digits), sample(m, 10, spread, digits)
    c = CompareMeans(DescrStatsW(x), DescrStatsW(y))
    out = {"x": x, "y": y}
    for name, var in [("welch", "unequal"), ("pooled", "pooled")]:
        t, p, df = c.ttest_ind(usevar=var)
        lo, hi = c.tconfint_diff(usevar=var)
        out[name] = {"t": t, "p": p, "df": df, "lo": lo, "hi": hi}
    p, (low, high) = c.ttost_ind(-0.8, 0.8, usevar="unequal")
    out["tost"] = {"margin": 0.8, "t_low": low[0], "t_high": high[0], "p": p}
    tied = len(set(x + y)) < n + m
    method = "asymptotic" if tied or n * m > 2500 else "exact"
    two = stats.mannwhitneyu(x, y, method=method)
    out["rank_sum"] = {"u": two.statistic, "p": two.pvalue, "upper": stats.mannwhitneyu(x, y, alternative="greater", method=method).pvalue,
                       "exact": method == "exact"}
    if n + m <= 16:
        diff = lambda a, b, axis: np.mean(a, axis=axis) - np.mean(b, axis=axis)
        r = stats.permutation_test((x, y), diff, vectorized=True, n_resamples=np.inf, alternative="greater")
        null = r.null_distribution
        out["permutation"] = {"of": len(null), "upper": int(np.sum(null >= r.statistic - 1e-9)),
                              "beyond": int(np.sum(np.abs(null) >= abs(r.statistic) - 1e-9))}
    pairs.append(out)

flips = []
for n, mean in [(6, 1), (12, 0.3), (15, 0)]:
    d = sample(n, mean, 1)
    r = stats.permutation_test((d,), lambda a, axis: np.sum(a, axis=axis), permutation_type="samples", vectorized=True,
                               n_resamples=np.inf, alternative="greater")
    null = r.null_distribution
    flips.append({"d": d, "of": len(null), "upper": int(np.sum(null >= r.statistic - 1e-9)),
                  "beyond": int(np.sum(np.abs(null) >= abs(r.statistic) - 1e-9))})

anova = []
for sizes, spread in [([5, 5, 5], 0), ([3, 6, 4, 8], 1.5)]:
    groups = [sample(n, spread * rng.normal(), 1) for n in sizes]
    r = stats.f_oneway(*groups)
    anova.append({"groups": groups, "f": r.statistic, "p": r.pvalue})

holm = []
for p in [[0.01, 0.04, 0.03, 0.005], [0.5, 0.2, 0.02, 0.02, 0.9], [0.04]]:
    holm.append({"p": p, "adjusted": multipletests(p, method="holm")[1].tolist()})

power = [{"n": n, "power": q, "d": tt_ind_solve_power(nobs1=n, power=q, alpha=0.05)} for n in [3, 5, 10, 20, 63.77] for q in [0.5, 0.8, 0.95]]

x = sample(41, 3, 2, 2)
describe = {"x": x, "mean": np.mean(x), "sd": np.std(x, ddof=1), "median": np.median(x), "mad": stats.median_abs_deviation(x),
            "lag1": acf(x, nlags=1)[1], "quantiles": [{"p": p, "q": np.quantile(x, p)} for p in [0, 0.025, 0.25, 0.5, 0.9, 0.975, 1]]}

write(__file__, {"pairs": pairs, "flips": flips, "anova": anova, "holm": holm, "power": power, "describe": describe})
