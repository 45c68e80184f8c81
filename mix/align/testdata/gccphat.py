# Makes gccphat.json, with which TestDelayAgainstSciPy compares:
#
#	python3 gccphat.py > gccphat.json
import json
import sys

import numpy as np
import scipy
from scipy import fft, signal

RATE, N = 16000, 2048

def delayed(x, by):  # by a fraction of a sample, exactly
    f = fft.rfftfreq(len(x))
    return fft.irfft(fft.rfft(x) * np.exp(-2j * np.pi * f * by), len(x))

def phat(x, y):
    hann = signal.windows.hann(2 * N + 1)[1::2]  # of the middles of samples
    cross = np.conj(fft.rfft(x * hann)) * fft.rfft(y * hann)
    hertz = np.arange(N // 2 + 1)
    lo, hi = int(120 / (RATE / N)), int(min(6500, 0.42 * RATE) / (RATE / N))
    white = np.where((hertz >= lo) & (hertz < hi), cross / np.abs(cross), 0)
    return fft.irfft(white, N), fft.irfft(white, 64 * N)

cases = []
random = np.random.default_rng(1976)
for delay, echo in (37.3, 0), (-12.62, 0.5), (3.5, 0), (-150.25, 0.4):
    tone = signal.lfilter([1], [1, -0.9], random.standard_normal(4 * N))
    far = delayed(tone, delay)
    if echo:
        far = far + echo * delayed(tone, delay + 91)
    pair = [s[N:2 * N] + 0.3 * random.standard_normal(N) for s in (tone, far)]
    x, y = (np.round(s * 3000).astype(int) for s in pair)
    corr, finer = phat(x, y)
    top = int(np.argmax(np.abs(finer)))
    lag = (top if top < 32 * N else top - 64 * N) / 64
    around = round(lag)
    cases.append({"delay": delay, "lag": lag, "x": x.tolist(), "y": y.tolist(), "around": around,
                  "corr": [float(corr[k % N]) for k in range(around - 4, around + 5)]})

json.dump({"made_with": "scipy " + scipy.__version__, "rate": RATE, "cases": cases}, sys.stdout, separators=(",", ":"))
print()
