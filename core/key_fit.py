# SPDX-License-Identifier: GPL-3.0-or-later
"""Few keys for wanted values: which frames of a span to key, how the curve runs through them, and how keys are put
later.

Frames and values are those of one curve; slopes are values a frame. Nothing here knows Blender: the curve itself is
evaluated by whoever writes the keys, since handles may be laid by Blender.
"""

import numpy as np

from .numeric.ease import min_jerk

Array = np.ndarray

#: Under this share of the largest change a frame counts as unchanged.
UNCHANGED = 1e-3
#: A key this near to a frame stands on it.
ON_FRAME = 0.02


def changed(change: Array) -> tuple[int, int] | None:
    """First and last row of a change (N, ...) that change anything, or None where none does."""
    size = np.abs(change).reshape(len(change), -1).max(axis=1, initial=0.0)
    largest = float(size.max(initial=0.0))
    rows = np.flatnonzero(size > UNCHANGED * largest).tolist()
    return (rows[0], rows[-1]) if largest > 0 else None


def slopes(values: Array) -> Array:
    """Slopes (N,) of values (N,) on neighboring frames, N >= 3: through both neighbors; at the two ends those of the
    parabola through the three values there, so that a curve may leave a key with another slope than it came with."""
    out = np.empty(len(values))
    out[1:-1] = (values[2:] - values[:-2]) / 2
    out[0] = (-3 * values[0] + 4 * values[1] - values[2]) / 2
    out[-1] = (3 * values[-1] - 4 * values[-2] + values[-3]) / 2
    return out


def first_choice(values: Array) -> list[int]:
    """Rows of values (C, N) of C curves to key first: where the curve that changes most turns back."""
    most = values[int(np.ptp(values, axis=1).argmax())]
    steps = np.sign(np.diff(most))
    return [int(i) + 1 for i in np.flatnonzero(steps[1:] * steps[:-1] < 0)]


def worst_miss(made: Array, wanted: Array, close: Array, keyed: Array) -> int | None:
    """The row at which curves (C, N) miss the wanted values (C, N) most, in units of what each may miss, ``close``
    (C,); None where all are close enough. Rows that are ``keyed`` (N,) bool are not asked."""
    miss = (np.abs(made - wanted) / close[:, None]).max(axis=0)
    miss[keyed] = 0.0
    row = int(miss.argmax())
    return row if miss[row] > 1.0 else None


def between_ends(values: Array) -> Array:
    """Values (N,) in one eased move (minimum jerk) from the first to the last of ``values``."""
    share = min_jerk(np.linspace(0.0, 1.0, len(values)))
    return np.asarray(values[0] + share * (values[-1] - values[0]))


def delayed(values: Array, rows: float) -> Array:
    """Values (N,) that come ``rows`` later: the first one is held as long, the last ones are cut off."""
    at = np.arange(len(values), dtype=float)
    return np.interp(np.maximum(0.0, at - rows), at, values)


def later(frames: Array, moves: Array, by: float) -> Array | None:
    """Frames (K,) of a curve's keys, in order, with those that ``moves`` (K,) tells moved ``by`` frames; None where two
    keys would come nearer to each other than a frame, and than they were."""
    moved = np.asarray(frames + np.where(moves, by, 0.0))
    before, after = np.diff(frames), np.diff(moved)
    return moved if (after >= np.minimum(before, 1.0) - ON_FRAME).all() else None
