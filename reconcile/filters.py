"""Convolution and the first-order lag, by FFT.

`scipy.signal` has both, and its package takes longer to import than a class to check.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from ingest.recording import Floats


def convolve_full(first: Floats, second: Floats) -> Floats:
    """c[k] = Σ_i first[i] · second[k − i]; `len(first) + len(second) − 1` values."""
    size = len(first) + len(second) - 1
    fast = next_fast_len(size, real=True)
    return np.asarray(irfft(rfft(first, fast) * rfft(second, fast), fast)[:size])


def first_order(values: Floats, constant: float) -> Floats:
    """First-order lag, time constant in steps, settled at the first value before the start."""
    keep = np.exp(-1.0 / constant)
    kernel = (1 - keep) * keep ** np.arange(min(len(values), int(30 * constant) + 1))
    return np.asarray(values[0] + convolve_full(kernel, values - values[0])[: len(values)])
