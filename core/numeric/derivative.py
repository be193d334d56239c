# SPDX-License-Identifier: GPL-3.0-or-later
"""Position, velocity and acceleration of sampled paths from one local fit.

A polynomial of degree 2 is fitted at each sample with the weights 1 - |t| / (h + dt); the half-window h is a time, so
the result means the same at every frame rate. At the ends the window is one-sided.
"""
import numpy as np

Array = np.ndarray

#: Half-window in seconds. Measured on a walk with force plates: least error at 24, 30 and 60 fps alike.
HALF_WINDOW = 0.10


def local_quadratic(values: Array, rate: float, half_window: float = HALF_WINDOW) -> tuple[Array, Array, Array]:
    """Smoothed value, first and second derivative of evenly spaced samples.

    values: (F, ...) in any unit u; rate: samples a second; half_window: seconds. Returns three arrays (F, ...) in u,
    u/s and u/s2. Raises ValueError on fewer than three samples or a rate that is not above zero.
    """
    y = np.asarray(values, float)
    if len(y) < 3:
        raise ValueError(f"local_quadratic: expected at least 3 samples, got {len(y)}")
    if not rate > 0:
        raise ValueError(f"local_quadratic: expected a rate above zero, got {rate}")
    f = len(y)
    flat = y.reshape(f, -1)
    reach = max(1, int(np.floor(half_window * rate + 1e-6)))
    out = np.empty((3, *flat.shape))
    if f > 2 * reach:
        kernel = _kernel(np.arange(-reach, reach + 1), rate, half_window)
        middle = np.zeros((3, f - 2 * reach, flat.shape[1]))
        for k in range(2 * reach + 1):      # a few passes over the whole array instead of one fit a frame
            middle += kernel[:, k, None, None] * flat[k:f - 2 * reach + k]
        out[:, reach:f - reach] = middle
        ends = [*range(reach), *range(f - reach, f)]
    else:
        ends = list(range(f))
    for i in ends:
        lo, hi = max(0, i - reach), min(f, i + reach + 1)
        if hi - lo < 3:                     # three points at least, or a parabola is not defined
            lo, hi = (0, 3) if i < f / 2 else (f - 3, f)
        out[:, i] = _kernel(np.arange(lo, hi) - i, rate, half_window) @ flat[lo:hi]
    value, first, second = (part.reshape(y.shape) for part in out)
    return value, first, second


def _kernel(offsets: Array, rate: float, half_window: float) -> Array:
    """(3, N) weights that give value, first and second derivative at offset 0 from samples at these frame offsets."""
    t = offsets / rate
    weight = np.maximum(1.0 - np.abs(t) / (half_window + 1.0 / rate), 1e-3)
    basis = np.stack([np.ones_like(t), t, t * t / 2], 1)
    root = np.sqrt(weight)[:, None]
    fit: Array = np.linalg.pinv(basis * root) * root.T
    return fit
