# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted snaps: a knee or elbow that is straight, or nearly, for one frame."""

import zlib
from collections.abc import Iterator

import numpy as np

from .. import body
from ..numeric.rotation import angle_between
from ..shot import Character
from . import edit
from .plants import SIZES, Case, Clean, quiet

Array = np.ndarray

#: Degrees by which the joint is straightened in one frame, with the severity that it must be noted at.
SNAPS = dict(zip(SIZES, ((8.0, "medium"), (15.0, "high"), (25.0, "high")), strict=True))
#: Degrees of bend that are left: it comes near to straight, and not through it.
LEFT = (1.0, 9.0)
PLACES = 2
#: A limb's end that is moved is so many legs from the floor.
CLEAR = 0.15


def snaps(clean: Clean) -> Iterator[Case]:
    """Up to PLACES a limb and size."""
    c, shot = clean.character, clean.shot
    for limb, (root, mid, end) in body.LIMBS.items():
        if not c.has(root, mid, end) or c.axes is None:
            continue
        bend = np.degrees(angle_between(c.head(mid) - c.head(root), c.head(end) - c.head(mid)))
        order = np.random.default_rng(zlib.crc32(f"{shot.name}{limb}".encode()))
        stride = max(1, round(shot.rate / 24))
        edge = 4 * stride
        every = order.permutation(np.arange(edge, shot.count - edge)).tolist()
        for size, (degrees, severity) in SNAPS.items():
            taken: list[int] = []
            for i in every:
                if len(taken) == PLACES:
                    break
                if not LEFT[0] <= bend[i] - degrees <= LEFT[1] or any(abs(i - k) < shot.rate / 2 for k in taken):
                    continue
                # beside a frame that is straighter still, or a step of the joint's own as large, nothing snaps
                beside = np.delete(bend[i - 2 * stride : i + 2 * stride + 1], 2 * stride)
                own = np.abs(bend[i - 2 * stride : i + 3 * stride] - bend[i - 3 * stride : i + 2 * stride])
                if bend[i] - degrees >= beside.min() or own.max() * shot.rate / 24 / stride >= degrees:
                    continue
                if clean.near_floor(end, (i, i), CLEAR) or not quiet(clean.result, shot, (i, i), (root, mid, end)):
                    continue
                planted = _snapped(c, limb, i, float(bend[i]) - degrees)
                if limb.startswith("leg") and not clean.feet_stay(planted, 0.0):
                    continue
                taken.append(i)
                frame = shot.frame(i)
                kind = "knee snaps straight" if limb.startswith("leg") else "elbow snaps straight"
                yield Case(kind, size, clean.with_(planted), "pop", mid, severity, None, 0.0, (i, i), (frame, frame))


def _snapped(c: Character, limb: str, i: int, bend: float) -> Character:
    """The limb's end pushed out on sample i until ``bend`` degrees are left."""
    root, mid, end = body.LIMBS[limb]
    a, b, e = (c.head(p)[i] for p in (root, mid, end))
    upper, lower = np.linalg.norm(b - a), np.linalg.norm(e - b)
    far = np.sqrt(upper**2 + lower**2 + 2 * upper * lower * np.cos(np.radians(bend)))
    place = c.head(end).copy()
    place[i] = a + (e - a) / np.linalg.norm(e - a) * far
    active = np.zeros(len(place), bool)
    active[i] = True
    return edit.reach(c, limb, place, solve=active)
