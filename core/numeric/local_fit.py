# SPDX-License-Identifier: GPL-3.0-or-later
"""Value, velocity and acceleration of many sampled paths from one local parabola a sample, as products of matrices.

A parabola is fitted about each sample with the weights (1 - (t / h)^2)^2, zero beyond the half-window h. That is a
time, so the result means the same at every rate; and since samples come into the window with weight zero, it changes
without a step from one rate to the next: 29.97 reads as 30, which a count of whole frames would not. Samples may be
uneven in time, as drawings on twos with holds between them are. At the ends the window is what there is of it.

The fit is linear in the samples, so it is a banded matrix: made once for a clip, it serves every path of the clip.
"""

import numpy as np

from .affine import linear_inverse

Array = np.ndarray

#: Half-window in seconds, chosen on a walk over force plates: the pressure point is 2.4 cm rms off along the walk and
#: 1.8 across, at 24, 30 and 60 fps alike. A wider window errs more along and in the vertical force, a narrower one
#: across (tests/corpus/plates.py prints both).
HALF_WINDOW = 0.13

# Where a window has but three samples, those beyond it weigh this, squared: the parabola goes through all three then.
LEAST_WEIGHT = 0.03

# Samples a block: the band of a block is dense, so larger blocks multiply more zeros, and smaller ones make more calls.
_BLOCK = 16
# Multiplications in one product of matrices. Beyond 2^18 the usual libraries share a product out over all cores, which
# for one as small as ours costs more than it brings, and several times as much where other work goes on.
_PRODUCT = 1 << 18



class LocalFit:
    """The fit at each of the times (F,) s, rising; half_window s. Raises ValueError on fewer than three samples, on
    times that do not rise, or on a window that is not above zero.

    sure (F,) bool: the window is whole, on both sides.
    """

    def __init__(self, times: Array, half_window: float = HALF_WINDOW) -> None:
        t = np.asarray(times, float)
        if t.ndim != 1 or len(t) < 3:
            raise ValueError(f"LocalFit: expected at least 3 times (F,), got shape {t.shape}")
        gaps = np.diff(t)
        if not (gaps > 0).all():
            raise ValueError("LocalFit: expected times that rise")
        if not half_window > 0:
            raise ValueError(f"LocalFit: expected a half-window above zero, got {half_window}")
        self.times = t
        self._first, weights = _weights_of(t, half_window)
        self.sure = (t - t[0] >= half_window - 1e-9) & (t[-1] - t >= half_window - 1e-9)
        self._blocks = self._laid(weights)

    def _laid(self, weights: Array) -> list[tuple[int, int, Array]]:
        """For each block of samples: the first sample that its windows reach, the last, exclusive, and the dense band
        (reached, 3 x samples of the block)."""
        taps, f = weights.shape[1:]
        blocks = []
        for at in range(0, f, _BLOCK):
            stop = min(at + _BLOCK, f)
            lo, hi = int(self._first[at]), int(self._first[stop - 1]) + taps
            band = np.zeros((3, stop - at, hi - lo))
            rows = np.arange(at, stop)
            columns = self._first[rows] - lo + np.arange(taps)[:, None]
            for k in range(3):
                band[k, np.arange(stop - at), columns] = weights[k][:, at:stop]
            blocks.append((lo, hi, band.reshape(-1, hi - lo).T))
        return blocks

    def __call__(self, rows: Array) -> tuple[Array, Array, Array]:
        """rows (..., F), frames last, in any unit u -> value, first and second derivative (..., F) in u, u/s, u/s2."""
        rows = np.asarray(rows, float)
        f = len(self.times)
        if rows.shape[-1] != f:
            raise ValueError(f"LocalFit: expected {f} samples along the last axis, got shape {rows.shape}")
        flat = rows.reshape(-1, f)
        out = np.empty((3, len(flat), f))
        for k, (lo, hi, band) in enumerate(self._blocks):
            at = k * _BLOCK
            n = min(_BLOCK, f - at)
            rows_at_once = max(1, (_PRODUCT - 1) // band.size)
            for r in range(0, len(flat), rows_at_once):
                some = slice(r, r + rows_at_once)
                product = flat[some, lo:hi] @ band
                out[:, some, at:at + n] = product.reshape(len(product), 3, n).transpose(1, 0, 2)
        value, first, second = out.reshape(3, *rows.shape)
        return value, first, second


def _weights_of(t: Array, half_window: float) -> tuple[Array, Array]:
    """``_weights``; at even steps worked out once for all windows that are whole."""
    f = len(t)
    step = (t[-1] - t[0]) / (f - 1)
    edge = int(half_window / step) + 3  # samples that may lack some of their window, and then some
    if f <= 2 * edge or np.abs(np.diff(t) - step).max() > 1e-9 * step:
        return _weights(t, half_window)
    first, weights = _weights(step * np.arange(2 * edge), half_window)
    rows = np.arange(f)
    like = np.where(rows < edge, rows, np.maximum(rows - (f - 2 * edge), edge))
    return first[like] + rows - like, weights[:, :, like]


def _weights(t: Array, half_window: float) -> tuple[Array, Array]:
    """The first sample of each window (F,), and (3, taps, F) weights that give value, first and second derivative.

    A window holds three samples at least, since a parabola needs them: at the ends, across gaps, at slow rates.
    """
    f = len(t)
    lo = np.searchsorted(t, t - half_window, "right")
    hi = np.searchsorted(t, t + half_window, "left")
    short = np.flatnonzero(hi - lo < 3)
    for i in short.tolist():
        lo[i] = min(max(i - 1, 0), f - 3)
        hi[i] = lo[i] + 3
    taps = int((hi - lo).max())
    first = np.minimum(lo, f - taps)
    rows = first + np.arange(taps)[:, None]
    away = t[rows] - t
    # a parabola's normal equations, with time in half-windows so that they are well scaled
    x = away / half_window
    weight = np.where((rows >= lo) & (rows < hi), np.maximum(1.0 - x * x, LEAST_WEIGHT) ** 2, 0.0)
    sums = [np.asarray((weight * x**k).sum(0)) for k in range(5)]
    normal = np.stack([np.stack([sums[i + j] for j in range(3)], -1) for i in range(3)], -2)
    inverse = linear_inverse(normal)
    basis = weight * np.stack([np.ones_like(x), x, x * x])  # (3, taps, F)
    fit = np.einsum("fij,jtf->itf", inverse, basis)
    fit[1] /= half_window
    fit[2] *= 2.0 / half_window**2
    return first, fit
