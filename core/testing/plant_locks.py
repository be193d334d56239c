# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted locks: the head is held in the world while the chest leaves, as by a control in world space, and catches up
quickly."""

import zlib
from collections.abc import Iterator

import numpy as np

from ..measures.hits import hits
from ..study import Study
from . import edit
from .plants import SIZES, Case, Clean, min_jerk, quiet

Array = np.ndarray

#: Frames of 24 for which it is held, and in which it catches up.
HELD = dict(zip(SIZES, (6, 10, 16), strict=True))
CATCHES = 3
#: Net travel of the chest, legs, that each severity is asked for, clear of the next one's limit.
TRAVEL = {"low": (0.043, 0.056), "medium": (0.064, 0.112), "high": (0.128, 0.4)}
#: The chest leaves all the while, legs a second.
LEAVES = 0.17
#: A head is left behind by this many legs at most.
LEFT = 0.45
PLACES = 2


def locks(clean: Clean) -> Iterator[Case]:
    """All planted locks of a clean shot, up to PLACES for each size."""
    shot, c = clean.shot, clean.character
    if not c.has("chest", "head") or c.axes is None:
        return
    top, chest = c.end("head"), c.head("chest")
    speed = np.linalg.norm(np.diff(chest, axis=0), axis=-1) * shot.rate / c.leg_length
    order = np.random.default_rng(zlib.crc32(f"{shot.name}locks".encode()))
    for size in SIZES:
        count, back = (round(n * shot.rate / 24) for n in (HELD[size], CATCHES))
        taken: list[int] = []
        for i in order.permutation(np.arange(2, max(2, shot.count - count - back - 4))).tolist():
            travel = float(np.linalg.norm(chest[i + count] - chest[i])) / c.leg_length
            severity = next((s for s, (low, high) in TRAVEL.items() if low <= travel <= high), None)
            window = (i, i + count + back)
            if severity is None or speed[i : i + count].min() < LEAVES or any(abs(i - k) < 2 * count for k in taken):
                continue
            if not quiet(clean.result, shot, window, ("head", "neck", "chest")):
                continue
            share = 1 - min_jerk((np.arange(shot.count) - i - count) / back)
            share[:i] = 0.0
            offset = share[:, None] * (top[i] - top)
            if np.linalg.norm(offset, axis=-1).max() > LEFT * c.leg_length:
                continue
            still = np.broadcast_to(np.eye(3), (shot.count, 3, 3))
            planted = edit.transform(c, edit.below(c, "head"), still, np.zeros_like(offset), offset)
            held = clean.with_(planted)
            if Study(held).of(hits, planted).touching("head", i + count // 2):
                continue                                    # a head that lies or leans on something may stay there
            taken.append(i)
            yield Case(f"head locked {HELD[size]} frames", size, held, "stuck-in-space", "head",
                       severity, travel * c.leg_length, 0.01 * c.leg_length, window,
                       (shot.frame(i + count) - 1, shot.frame(i + count) + 1))
            if len(taken) == PLACES:
                break
