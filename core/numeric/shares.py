# SPDX-License-Identifier: GPL-3.0-or-later
"""How several places share a load whose point of attack is known, for many moments at once."""
import numpy as np

Array = np.ndarray

#: Passes; each moves the shares nearer to the one answer, which what follows needs to a percent.
_PASSES = 60
#: Of the places' mean square distance: how much an even split is worth against a nearer point of attack.
_EVEN = 0.02


def load_shares(places: Array, present: Array, point: Array) -> Array:
    """Shares (C, F), none below zero, that sum to one at each moment where any place is present, zero elsewhere.

    places (2, C, F) m; present (C, F) bool; point (2, F) m, where the whole load attacks. Of all shares those whose
    mean place comes nearest to the point; where more than one do, about the most even ones. NaN points give even
    shares.
    """
    places = np.asarray(places, float)
    present = np.asarray(present, bool)
    if places.ndim != 3 or places.shape[0] != 2 or present.shape != places.shape[1:] or point.shape != (
            2, places.shape[2]):
        raise ValueError(f"load_shares: expected (2, C, F), (C, F), (2, F), got {places.shape}, {present.shape}, "
                         f"{point.shape}")
    count = present.sum(0)
    share = np.where(present, 1.0 / np.maximum(count, 1), 0.0)
    known = np.isfinite(point).all(0)
    two, more = np.flatnonzero((count == 2) & known), np.flatnonzero((count > 2) & known)
    if len(two):
        which = np.nonzero(present[:, two].T)[1].reshape(-1, 2).T
        share[which, two] = _of_two(places[:, which, two] - point[:, None, two])
    if not len(more):
        return share
    here = present[:, more]
    away = np.where(here, places[:, :, more] - point[:, None, more], 0.0)
    size = np.maximum((away**2).sum((0, 1)) / count[more], 1e-12)
    # projected gradient with momentum on |sum of share x away|^2 + even x sum of share^2
    gram = np.einsum("kcf,kdf->cdf", away, away)
    diagonal = np.arange(len(gram))
    gram[diagonal, diagonal] += _EVEN * size
    step = 1.0 / np.maximum(gram[diagonal, diagonal].sum(0), 1e-12)
    now = share[:, more]
    ahead, pace = now, 1.0
    for _ in range(_PASSES):
        new = _on_simplex(ahead - step * np.einsum("cdf,df->cf", gram, ahead), here)
        faster = (1.0 + np.sqrt(1.0 + 4.0 * pace * pace)) / 2.0
        ahead = new + (pace - 1.0) / faster * (new - now)
        now, pace = new, faster
    share[:, more] = now
    return share


def _of_two(away: Array) -> Array:
    """Shares (2, F) of two places at these distances from the point (2, 2, F)."""
    line = away[:, 1] - away[:, 0]
    even = _EVEN * np.maximum((away**2).sum((0, 1)) / 2, 1e-12)
    second = (-(away[:, 0] * line).sum(0) + even) / ((line**2).sum(0) + 2 * even)
    second = np.clip(second, 0.0, 1.0)
    return np.stack([1.0 - second, second])


def _on_simplex(values: Array, here: Array) -> Array:
    """The nearest shares (C, F) to values (C, F): none below zero, sum one, zero where not ``here``."""
    solid = np.where(here, values, -1e9)
    order = -np.sort(-solid, axis=0)
    total = np.cumsum(order, axis=0) - 1.0
    rank = np.arange(1, len(values) + 1)[:, None]
    last = (order - total / rank > 0).sum(0) - 1
    level = np.take_along_axis(total, last[None], 0)[0] / (last + 1)
    return np.asarray(np.where(here, np.maximum(solid - level, 0.0), 0.0))
