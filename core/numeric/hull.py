# SPDX-License-Identifier: GPL-3.0-or-later
"""The point of smallest norm in the hull of a few planar points, for many sets at once."""
import numpy as np

Array = np.ndarray


def smallest_norm(points: Array, present: Array) -> Array:
    """The point nearest to the origin in the convex hull of each set.

    points: (F, N, 2), N up to about ten; present: (F, N) bool, which of them belong to the set. Returns (F, 2): zero
    where the hull holds the origin, NaN where the set is empty.
    """
    points = np.asarray(points, float)
    present = np.asarray(present, bool)
    if points.ndim != 3 or points.shape[2] != 2 or present.shape != points.shape[:2]:
        raise ValueError(f"smallest_norm: expected (F, N, 2) and (F, N), got {points.shape} and {present.shape}")
    f, n, _ = points.shape
    out = np.full((f, 2), np.nan)
    if f == 0 or n == 0:
        return out
    first = present.argmax(1)
    some = present.any(1)
    # an absent point becomes a copy of a present one: the hull stays the same and no mask is needed further on
    filled = np.where(present[:, :, None], points, points[np.arange(f), first][:, None])
    a, b = np.triu_indices(n)
    start, along = filled[:, a], filled[:, b] - filled[:, a]
    length2 = (along * along).sum(-1)
    t = np.clip(-(start * along).sum(-1) / np.where(length2 > 0, length2, 1.0), 0.0, 1.0)
    nearest = start + t[..., None] * along
    norm2 = (nearest * nearest).sum(-1)
    best = nearest[np.arange(f), norm2.argmin(1)]
    # The nearest point of all chords is the hull's own if the whole set lies beyond it; if not, the origin is inside.
    size = np.abs(filled).max(axis=(1, 2))
    beyond = (filled * best[:, None]).sum(-1).min(1) >= (best * best).sum(-1) - 1e-12 * size * size
    out[some] = np.where(beyond[some, None], best[some], 0.0)
    return out
