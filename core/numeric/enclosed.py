# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the middle of what closed faces enclose lies."""

import numpy as np

Array = np.ndarray

#: Faces are open where the sum of their areas, as vectors, is more than this share of the sum of their sizes; what they
#: enclose counts as nothing under this share of what a ball of as much surface would.
OPEN, FLAT = 1e-3, 1e-3


def center_of_room(triangles: Array) -> Array | None:
    """The center of volume (3,) of closed faces (T, 3, 3), one shell or several, in their own unit; None where they are
    open, flat, or no numbers.

    Signed tetrahedra from one point (the divergence theorem): exact, however the faces lie, as long as each shell faces
    one way."""
    t = np.asarray(triangles, float)
    if t.ndim != 3 or t.shape[1:] != (3, 3):
        raise ValueError(f"center_of_room: expected (T, 3, 3), got {t.shape}")
    if not len(t) or not np.isfinite(t).all():
        return None
    middle = t.mean((0, 1))
    a, b, c = (t - middle).transpose(1, 0, 2)
    area = np.cross(b - a, c - a) / 2
    size = float(np.linalg.norm(area, axis=1).sum())
    if np.linalg.norm(area.sum(0)) > OPEN * size:
        return None
    volume = np.einsum("ti,ti->t", a, np.cross(b, c)) / 6
    whole = float(volume.sum())
    if abs(whole) <= FLAT * size**1.5 / (6 * np.sqrt(np.pi)):
        return None
    return np.asarray(middle + (volume[:, None] * (a + b + c) / 4).sum(0) / whole)
