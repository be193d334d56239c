# SPDX-License-Identifier: GPL-3.0-or-later
"""The two-bone limbs as lines: their joints, their bones' lengths and the bend between them, all limbs at once."""

from dataclasses import dataclass

import numpy as np

from .. import body
from ..need import Need
from ..numeric import rotation as rot
from ..shot import Character
from ..study import Study, measure

Array = np.ndarray


@dataclass(frozen=True)
class Limbs:
    """L limbs by their index in ``names`` ('leg.L'), over F samples, in world meters.

    root, mid, end (L, F, 3): hip, knee, ankle or shoulder, elbow, wrist (where the limb's end is not in the body map,
    the end of its lower bone). upper, lower (L, F): lengths of the two bones. normal (L, F, 3): upper x lower, m2.
    bend (L, F): radians between the two bones' lines, 0 = straight, whichever way it bends.
    """

    names: tuple[str, ...]
    root: Array
    mid: Array
    end: Array
    upper: Array
    lower: Array
    normal: Array
    bend: Array

    def at(self, name: str) -> int | None:
        """The limb's index, or None where it is not in the body map."""
        return self.names.index(name) if name in self.names else None


@measure(Need.JOINTS)
def limbs(study: Study, character: Character) -> Limbs:
    """The limbs whose upper and lower bone are in the body map."""
    names = tuple(limb for limb, (root, mid, _) in body.LIMBS.items() if character.has(root, mid))
    joints = np.empty((3, 3, len(names), study.shot.count))
    for k, name in enumerate(names):
        root, mid, _ = body.LIMBS[name]
        for row, place in zip(joints, (character.head(root), character.head(mid), character.end(mid)), strict=True):
            row[:, k] = place.T
    a, b, c = (rot.components_last(row) for row in joints)
    upper, lower = b - a, c - b
    normal = rot.cross(upper, lower)
    bend = np.arctan2(rot.norm(normal), rot.dot(upper, lower))
    return Limbs(names, a, b, c, rot.norm(upper), rot.norm(lower), normal, bend)
