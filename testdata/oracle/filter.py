#!/usr/bin/python3
"""Writes filter.json: low-pass filters by SciPy, the yardstick of package filter.

Run: python3 filter.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import numpy as np
from scipy import signal

from common import Readings, write

RATE = 1000.0
t = np.arange(240) / RATE
x = np.round(np.sin(2 * np.pi * 7 * t) + 0.3 * np.sign(np.sin(2 * np.pi * 3 * t)) + 0.1 * np.array(Readings(1).normals(t.size)), 6)

cases = []
for kind, order, ripple, cut in [
    ("butter", 4, 0, 100.0), ("butter", 3, 0, 20.0), ("butter", 1, 0, 30.0),
    ("cheby1", 8, 0.05, 40.0), ("cheby1", 5, 1.0, 60.0),
]:
    if kind == "butter":
        sos = signal.butter(order, cut, fs=RATE, output="sos")
    else:
        sos = signal.cheby1(order, ripple, cut, fs=RATE, output="sos")
    f = [0.0, 5.0, 20.0, cut, 150.0, 400.0]
    _, h = signal.sosfreqz(sos, worN=f, fs=RATE)
    zi = signal.sosfilt_zi(sos) * x[0]
    cases.append({
        "kind": kind, "order": order, "ripple_db": ripple, "cut_hz": cut,
        "hz": f, "gain": np.abs(h).tolist(), "phase_rad": np.angle(h).tolist(),
        "forward": signal.sosfilt(sos, x, zi=zi)[0].tolist(),
        "zero_phase": signal.sosfiltfilt(sos, x).tolist(),
    })

sos = signal.cheby1(8, 0.05, 0.8 / 10, output="sos")
write(__file__, {"rate_hz": RATE, "x": x.tolist(), "cases": cases, "decimated_by_10": signal.sosfiltfilt(sos, x)[::10].tolist()})
