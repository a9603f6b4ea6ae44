"""Convolution and the first-order lag, by FFT.

`scipy.signal` has both, and its package takes longer to import than a class to check.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from ingest.recording import Floats


def convolve_full(first: Floats, second: Floats) -> Floats:
    """c[k] = Σ_i first[i] · second[k − i], along the last axis; one value less than both have."""
    size = first.shape[-1] + second.shape[-1] - 1
    fast = next_fast_len(size, real=True)
    return np.asarray(irfft(rfft(first, fast) * rfft(second, fast), fast)[..., :size])


def first_order(values: Floats, constant: float) -> Floats:
    """First-order lag along the last axis, settled at the first value before the start.

    constant: the time constant, in steps.
    """
    keep = np.exp(-1.0 / constant)
    count = values.shape[-1]
    kernel = (1 - keep) * keep ** np.arange(min(count, int(30 * constant) + 1))
    settled = values[..., :1]
    return np.asarray(settled + convolve_full(kernel, values - settled)[..., :count])
