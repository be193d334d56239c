# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether what was worked out from keys is what Blender evaluates: on which frames to ask, and how near is near enough.

Blender computes in single precision, so its own error grows with the distance from the origin; what agrees within that
cannot be told apart by any check.
"""

from collections.abc import Iterable

import numpy as np

Array = np.ndarray

#: Meters, and share of the distance from the origin, by which a place may differ.
NEAR, SHARE = 1e-5, 4e-7
#: By how much a direction of unit length may differ.
TURN = 5e-6
#: Where in the range it is always looked, whatever happens there; uneven, since keys often come at even steps.
STREWN = (0.0, 0.13, 0.31, 0.5, 0.71, 0.89, 1.0)
#: The most frames that are looked at; each figure adds the frame of its largest change.
MOST = 32


def frames_to_ask(count: int, changes: Iterable[Array]) -> list[int]:
    """Which of ``count`` frames are to be compared. changes: for each figure how much changes from each frame to the
    next, (count - 1,), or (0,) where nothing does."""
    rows = {round(part * (count - 1)) for part in STREWN}
    largest = [(float(change.max()), int(change.argmax()) + 1) for change in changes if change.size]
    for _, row in sorted(largest, reverse=True):
        if len(rows) < MOST:
            rows.add(row)
    return sorted(rows)


def change_of(rows: Array) -> Array:
    """(F - 1,) the largest change of a place or a direction, from matrices (3, 4, n, F); (0,) where F is 1."""
    if rows.shape[-1] < 2 or not rows.shape[2]:
        return np.zeros(0)
    steps = np.abs(np.diff(rows[:, (1, 3)], axis=-1))
    return np.nan_to_num(steps.max(axis=(0, 1, 2)))


def places_agree(ours: Array, theirs: Array, unit: float) -> bool:
    """World matrices (k or 1, 4, 4) of one object; unit: meters per scene unit."""
    spans = np.broadcast_shapes(ours.shape, theirs.shape)
    a, b = np.broadcast_to(ours, spans), np.broadcast_to(theirs, spans)
    far = np.linalg.norm(b[:, :3, 3], axis=-1)
    return _near(a[:, :3, 3], b[:, :3, 3], far, unit) and _turned(a[:, :3, :3], b[:, :3, :3])


def poses_agree(ours: Array, theirs: Array, world: Array, lengths: Array, unit: float) -> bool:
    """Matrices (3, 4, n, k or 1) of one armature's bones in its own space under its world matrices (k or 1, 4, 4), with
    the bones' lengths (n,): heads and tails, and how the bones are turned."""
    if not len(lengths):
        return True
    a, b = (np.broadcast_to(m, np.broadcast_shapes(ours.shape, theirs.shape)) for m in (ours, theirs))
    size = float(np.abs(world[:, :3, :3]).max())
    for share in (0.0, 1.0):
        p, q = (m[:, 3] + share * m[:, 1] * lengths[:, None] for m in (a, b))
        far = np.sqrt((q * q).sum(axis=0)) * size
        if not _near(p.transpose(1, 2, 0) * size, q.transpose(1, 2, 0) * size, far, unit):
            return False
    return _turned(a[:, :3].transpose(2, 3, 0, 1), b[:, :3].transpose(2, 3, 0, 1))


def _near(a: Array, b: Array, far: Array, unit: float) -> bool:
    """Whether places (…, 3) are the same; far (…): their distances from where the host's rounding grows from."""
    apart = np.abs(a - b).max(axis=-1) * unit
    lost = np.isnan(a) & np.isnan(b)
    return bool(((apart <= np.maximum(NEAR, SHARE * far * unit)) | lost.all(axis=-1)).all())


def _turned(a: Array, b: Array) -> bool:
    """Whether axes (…, 3, 3), columns of any length, are the same."""
    length = np.sqrt((b * b).sum(axis=-2, keepdims=True))
    apart = np.abs(a - b) <= TURN * np.maximum(length, 1e-12)
    return bool((apart | (np.isnan(a) & np.isnan(b))).all())
