# SPDX-License-Identifier: GPL-3.0-or-later
"""Sampled rows read between their samples."""

import numpy as np

Array = np.ndarray


def between(rows: Array, at: Array) -> Array:
    """Rows (F, ...) read at places ``at`` (N,) between them, speeds continuous (a cubic through four rows each, Catmull
    and Rom); beyond the ends the last row is repeated."""
    last = len(rows) - 1
    at = np.clip(at, 0, last)
    i = np.clip(at.astype(int), 0, max(last - 1, 0))
    t = (at - i).reshape(-1, *[1] * (rows.ndim - 1))
    a, b, c, d = (rows[np.clip(i + k, 0, last)] for k in (-1, 0, 1, 2))
    return np.asarray(b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a))))


def straight(rows: Array, at: Array, wanted: Array) -> Array:
    """Rows (F, ...) told at rising places ``at`` (F,), as samples at their frames, read at ``wanted`` (N,): (N, ...),
    straight between, held beyond the ends."""
    flat = rows.reshape(len(rows), -1)
    return np.stack([np.interp(wanted, at, column) for column in flat.T], -1).reshape(len(wanted), *rows.shape[1:])


def hermite(start: Array, end: Array, leaving: Array, coming: Array, t: Array) -> Array:
    """The cubic from ``start`` to ``end`` at shares ``t`` of the way, 0 to 1, which leaves the one and comes to the
    other at these changes per whole way; all broadcast."""
    u = 1 - t
    return np.asarray(start * (1 + 2 * t) * u**2 + end * t**2 * (3 - 2 * t) + leaving * t * u**2 - coming * t**2 * u)
