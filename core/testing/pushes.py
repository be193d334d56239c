# SPDX-License-Identifier: GPL-3.0-or-later
"""The push that a motion demands of the ground, by plain differences of a fine sampling: truth for what is planted."""

import numpy as np

from ..measures.mass import masses_of
from ..measures.sole import carried, sole_of
from ..numeric.hull import smallest_norm
from ..shot import GRAVITY, Shot

Array = np.ndarray


def demanded(shot: Shot, sides: str = "LR", unsure: float = 0.2) -> Array:
    """(F,) m by which the pressure point of an exact motion, finely sampled, lies outside of these soles on level
    ground at the height of their lowest point, less ``unsure`` of how far it is from under the center of mass. Segments
    count as points. The first and last samples are zero."""
    c = shot.characters[0]
    found = masses_of(c)
    places = found.centers(c).transpose(1, 2, 0)                             # (S, F, 3)
    share = found.mass / found.total
    center = np.tensordot(share, places, 1)

    def rate(path: Array) -> Array:
        return np.asarray(np.gradient(path, 1 / shot.rate, axis=-2))

    bend = rate(rate(center))
    arm = places - center
    spin = rate(np.tensordot(share, np.cross(arm, rate(arm)), 1))
    turn = np.stack([spin[:, 1], -spin[:, 0]], 1)
    soles = np.concatenate([carried(c, sole_of(c, side)) for side in sides], 1)
    height = center[:, 2:] - soles[..., 2].min(1, keepdims=True)
    point = center[:, :2] - (height * bend[:, :2] + turn) / (GRAVITY + bend[:, 2:])
    soles = soles[..., :2] - point[:, None]
    away = np.linalg.norm(smallest_norm(soles, np.ones(soles.shape[:2], bool)), axis=1)
    out = away - unsure * np.linalg.norm(point - center[:, :2], axis=1)
    out[:3], out[-3:] = 0.0, 0.0
    return np.asarray(out)
