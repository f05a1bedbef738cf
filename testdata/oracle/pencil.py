#!/usr/bin/python3
"""Writes pencil.json: modes of ring-downs by a matrix pencil in NumPy, and by a curve fit that knows nothing of it.

Run: python3 pencil.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import numpy as np
from scipy import optimize

from common import Readings, write

rng = Readings(11)


def pencil(y, dt, modes):
    """Hua and Sarkar 1990: Hankel matrix, right singular vectors, eigenvalues of V1⁺·V2; amplitudes by least squares."""
    n, length = len(y), len(y) // 3
    hankel = np.array([y[i:i + length + 1] for i in range(n - length)])
    _, _, vh = np.linalg.svd(hankel)
    v = vh[:2 * modes].T
    poles = np.linalg.eigvals(np.linalg.pinv(v[:-1]) @ v[1:])
    s = np.log(poles) / dt
    amp = 2 * np.abs(np.linalg.lstsq(np.vander(poles, n, increasing=True).T, np.array(y, complex), rcond=None)[0])
    keep = sorted((abs(k) / 2 / np.pi, -k.real / abs(k), k.imag / 2 / np.pi, a) for k, a in zip(s, amp) if k.imag > 0)
    return [{"natural_hz": f, "damping": z, "damped_hz": d, "amplitude": a} for f, z, d, a in keep]


def ring(t, *p):
    out = np.zeros_like(t)
    for a, hz, zeta, ph in zip(p[::4], p[1::4], p[2::4], p[3::4]):
        wd = 2 * np.pi * hz * np.sqrt(1 - zeta**2)
        out = out + a * np.exp(-2 * np.pi * hz * zeta * t) * np.cos(wd * t + ph)
    return out


cases = []
for name, modes, true, rate, n, noise in [
    ("one mode", 1, [4, 9, 0.07, 0.3], 250, 150, 0.05), ("one mode, quiet", 1, [4, 12, 0.05, 0], 250, 200, 0.001),
    ("one mode, strongly damped", 1, [6, 6, 0.3, -0.5], 1000, 240, 0.02),
    ("two modes", 2, [3, 8, 0.06, 0.2, 1, 23, 0.04, 1], 250, 180, 0.02),
]:
    t = np.arange(n) / rate
    y = np.round(ring(t, *true) + noise * np.array(rng.normals(n)), 6)
    best, cov = optimize.curve_fit(ring, t, y, p0=true, method="lm", xtol=1e-14, ftol=1e-14, maxfev=100000)
    se = np.sqrt(np.diag(cov))
    cases.append({"name": name, "modes": modes, "dt": 1 / rate, "y": y.tolist(), "pencil": pencil(y, 1 / rate, modes),
                  "curve": [{"natural_hz": best[i + 1], "natural_hz_se": se[i + 1], "damping": best[i + 2], "damping_se": se[i + 2]}
                            for i in range(0, 4 * modes, 4)]})

write(__file__, {"cases": cases})
