#!/usr/bin/python3
"""Writes quantiles.json: quantiles and tails of Student's t, chi-square, F and the normal law by SciPy.

Run: python3 quantiles.py    (the result here: Debian 12, SciPy 1.10)
"""
from scipy import stats

from common import write

DF = [1, 2, 3, 4, 5, 6.5, 7.09878, 9, 17.776, 29, 98, 136.875, 1000]
PROB = [0.6, 0.8, 0.9, 0.95, 0.975, 0.99, 0.995, 0.9995]
SIZES = [0.1, 0.5, 1, 1.8608, 2.5, 5.4349, 12.9]



def student(p, d):
    """SciPy 1.10's quantile is right to 9 digits (tan(0.4995π) = 636.6192487687 with one degree of freedom); one step of
    Newton's brings the rest."""
    t = stats.t.ppf(p, d)
    return t + (stats.t.sf(t, d) - (1 - p)) / stats.t.pdf(t, d)


write(__file__, {
    "student": [{"df": d, "p": p, "t": student(p, d)} for d in DF for p in PROB],
    "student_tails": [{"df": d, "t": t, "p": 2 * stats.t.sf(t, d)} for d in DF for t in SIZES],
    "normal": [{"p": p, "z": stats.norm.ppf(p)} for p in PROB + [0.025, 0.001, 1e-6]],
    # The interval of a true standard deviation, for s = 1.
    "sd_interval": [{"df": d, "level": level, "lo": (d / stats.chi2.ppf((1 + level) / 2, d)) ** 0.5,
                     "hi": (d / stats.chi2.ppf((1 - level) / 2, d)) ** 0.5} for d in DF for level in [0.5, 0.9, 0.95, 0.99]],
    # Nested fits: the F test through sums of squares 1 + d1·F/d2 and 1.
    "f_tails": [{"d1": a, "d2": b, "f": f, "p": stats.f.sf(f, a, b)} for a in [1, 2, 5] for b in [3, 10, 97] for f in [0.3, 1, 4, 20]],
})
