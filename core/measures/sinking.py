# SPDX-License-Identifier: GPL-3.0-or-later
"""How far the hips can sink over feet that stay, before a leg's joints come to the end of their range."""

import numpy as np

from .. import body
from ..numeric.rotation import angle_between, norm, square_to, unit
from ..shot import Character
from ..study import Measure, Study
from ..tables.joint_ranges import RANGES
from .angles import angles
from .limbs import Limbs, limbs
from .supports import Supports, supports

Array = np.ndarray

#: Of the leg: how deep is looked, and in how many steps.
DEEPEST, STEPS = 0.4, 40
#: Of the thigh: a knee nearer to the line from hip to ankle tells no way in which it bends.
STRAIGHT = 0.02
#: Degrees inside the end of its range at which a joint bends no further.
INSIDE = 1.0
#: A leg's joints that bend as the hips sink, in the order of the bones that then turn: thigh and shin.
_BENT = (("hip_flexion", "thigh"), ("ankle_dorsiflexion", "foot"))
_MOST = {r.name: r.most for r in RANGES if r.most is not None}


#: The measures that it stands on, for a check that asks it to name.
STANDS_ON: tuple[Measure, ...] = (limbs, angles, supports)


def sinking(study: Study, character: Character, rows: slice) -> Array:
    """(N,) m by which the pelvis may go straight down on these samples with the feet where they are, and no hip or
    ankle of a leg that stands passes the end of its range, or what it is bent by already; DEEPEST of the leg at most.

    No measure: a remedy asks for the few samples that it changes, and every leg is solved STEPS times on each.
    """
    legs: Limbs = study.of(limbs, character)
    found: Supports = study.of(supports, character)
    bent = study.of(angles, character)
    up = -study.shot.gravity / np.linalg.norm(study.shot.gravity)
    down = np.linspace(0.0, DEEPEST, STEPS + 1) * character.leg_length
    out = np.full(len(range(study.shot.count)[rows]), down[-1])
    for side in body.SIDES:
        k, part = legs.at(f"leg.{side}"), f"foot.{side}"
        if k is None or part not in found.parts:
            continue
        root, mid, end = (place[k][rows] for place in (legs.root, legs.mid, legs.end))
        line = unit(end - root)
        bends = square_to(mid - root, line)
        upper, lower = legs.upper[k][rows], legs.lower[k][rows]
        # a straight leg bends to where its foot points
        straight = norm(bends) < STRAIGHT * upper
        ahead = square_to((character.end(part) - character.head(part))[rows], line)
        pole = unit(np.where(straight[:, None], ahead, bends))
        hip = root - down[:, None, None] * up                       # (STEPS + 1, N, 3)
        knee = _knee(hip, end, pole, upper, lower)
        free = np.ones(hip.shape[:2], bool)
        for (name, base), was, now in zip(_BENT, (mid - root, end - mid), (knee - hip, end - knee), strict=True):
            angle = bent.get((name, f"{base}.{side}"))
            if angle is not None:
                own = np.nan_to_num(angle.degrees[rows], nan=-180.0)
                most = np.maximum(_MOST[name] - INSIDE, own + 1.0)
                free &= own + np.degrees(angle_between(was, now)) <= most
        room = down[np.logical_and.accumulate(free, 0).sum(0).clip(1) - 1]
        out = np.where(found.touches[found.parts.index(part)][rows], np.minimum(out, room), out)
    return out


def _knee(hip: Array, ankle: Array, pole: Array, upper: Array, lower: Array) -> Array:
    """(..., N, 3) where the knee comes to, bent toward ``pole`` (N, 3), of a leg from hip to ankle."""
    line = unit(ankle - hip)
    far = np.clip(norm(ankle - hip), np.abs(upper - lower) + 1e-6, upper + lower)
    along = (upper**2 + far**2 - lower**2) / (2 * far)
    aside = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    return np.asarray(hip + along[..., None] * line + aside[..., None] * unit(square_to(pole, line)))
