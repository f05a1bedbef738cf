#!/usr/bin/python3
"""Writes spectrum.json: spectra, coherence and frequency response by SciPy, the yardstick of package vibration.

Run in this folder: python3 spectrum.py    (made with Debian 12's NumPy 1.24 and SciPy 1.10)
"""
import json

import numpy as np
from scipy import signal

RATE = 250.0
rng = np.random.default_rng(2024)
n = 640
x = np.round(rng.standard_normal(n) + 0.7, 6)
b, a = signal.butter(2, 30.0, fs=RATE)
y = np.round(signal.lfilter(b, a, x) + 0.3 * rng.standard_normal(n), 6)

cases = []
for window, nper, overlap in [("hann", 128, 64), ("hann", 100, 50), ("hann", 65, 20), ("boxcar", 128, 0), ("boxcar", 640, 0)]:
    kw = dict(fs=RATE, window=window, nperseg=nper, noverlap=overlap, detrend="constant")
    f, pxx = signal.welch(x, **kw)
    _, pyy = signal.welch(y, **kw)
    _, pxy = signal.csd(x, y, **kw)
    _, coh = signal.coherence(x, y, **kw)
    h = pxy / pxx
    cases.append({
        "window": window, "segment": nper, "overlap": overlap, "hz": f.tolist(), "density": pxx.tolist(),
        "coherence": coh.tolist(), "h1_re": h.real.tolist(), "h1_im": h.imag.tolist(),
    })

json.dump({"rate_hz": RATE, "x": x.tolist(), "y": y.tolist(), "cases": cases}, open("spectrum.json", "w"), indent=0)
