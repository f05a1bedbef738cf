#!/usr/bin/python3
"""Writes spectrum.json: spectra, coherence and frequency response by SciPy, the yardstick of package vibration.

Run: python3 spectrum.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import numpy as np
from scipy import signal

from common import Readings, write

RATE = 250.0
rng = Readings(2)
n = 640
x = np.round(np.array(rng.normals(n)) + 0.7, 6)
b, a = signal.butter(2, 30.0, fs=RATE)
y = np.round(signal.lfilter(b, a, x) + 0.3 * np.array(rng.normals(n)), 6)

cases = []
for window, nper, overlap in [("hann", 128, 64), ("hann", 100, 50), ("hann", 65, 20), ("boxcar", 128, 0), ("boxcar", 640, 0)]:
    kw = dict(fs=RATE, window=window, nperseg=nper, noverlap=overlap, detrend="constant")
    f, pxx = signal.welch(x, **kw)
    _, pyy = signal.welch(y, **kw)
    _, pxy = signal.csd(x, y, **kw)
    _, coh = signal.coherence(x, y, **kw)
    h = pxy / pxx
    coh[0], h[0] = 0, 0  # the mean is taken off: at 0 Hz rounding is divided by rounding
    cases.append({
        "window": window, "segment": nper, "overlap": overlap, "hz": f.tolist(), "density": pxx.tolist(),
        "coherence": coh.tolist(), "h1_re": h.real.tolist(), "h1_im": h.imag.tolist(),
    })

write(__file__, {"rate_hz": RATE, "x": x.tolist(), "y": y.tolist(), "cases": cases})
