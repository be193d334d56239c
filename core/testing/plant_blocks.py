# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted blocks: chest, head and arm parts go from one pose to another on the same frames with the same spacing.

The figure rests in a pose of the clip, so that the block is all that moves; it turns to a second pose in some frames,
eased, and rests again.
"""

import zlib
from collections.abc import Iterator

import numpy as np

from .. import body
from ..measures.contacts import Contacts, contacts
from ..measures.hits import Hits, hits
from ..measures.local import local_axes
from ..measures.turn import lever
from ..numeric.rotation import exp, log, norm, relative
from ..shot import Character
from ..study import Study
from . import edit
from .plants import SIZES, Case, Clean, min_jerk
from .retime import retimed

Array = np.ndarray

#: Size -> parts of the block, all against their parents, and the severity that it must be noted at.
BLOCKS = dict(zip(SIZES, (
    (("chest", "head"), "low"),
    (("chest", "head", "upper_arm.L"), "medium"),
    (("chest", "head", "upper_arm.L", "forearm.L", "upper_arm.R", "forearm.R"), "high"),
), strict=True))
#: Parts of the upper body, of which a block is told as a share: chest, head, two arms of three.
WHOLE = 8
#: Frames of 24 of rest before, of the move, and of rest after it.
BEFORE, MOVES, AFTER = 8, (8, 12), 14
#: Each part's peak speed, legs a second, is brought to this at least; what turns less is turned on the same way.
PEAK = 0.45
#: Places that are tried for each block.
TRIED = 40
#: Degrees that a part is turned at most.
MOST = 60.0


def blocks(clean: Clean) -> Iterator[Case]:
    """Planted blocks of a clean shot: one for each size and length of move."""
    shot, c = clean.shot, clean.character
    if c.axes is None:
        return
    order = np.random.default_rng(zlib.crc32(f"{shot.name}blocks".encode()))
    scale = shot.rate / 24
    for size, (parts, severity) in BLOCKS.items():
        if not c.has(*parts):
            continue
        for move in MOVES:
            before, count, after = (round(n * scale) for n in (BEFORE, move, AFTER))
            length = before + count + after
            for start in order.permutation(np.arange(1, max(1, shot.count - length - 1))).tolist()[:TRIED]:
                rest = _rest(clean, start, length)
                host = _block(clean, rest, parts, start, before, count, after) if _stands(clean, start) else None
                if host is None:
                    continue
                first = start + before
                frame = shot.frame(first + count)
                yield Case(f"block of {len(parts)}, {move} frames", size, clean.with_(host), "twinned-stop", "chest",
                           severity, len(parts) / WHOLE, 0.01, (first, first + count), (frame - round(scale), frame),
                           known=clean.review(rest))
                break


def _rest(clean: Clean, start: int, length: int) -> Character:
    """The figure held from sample ``start``, and then it goes on: what is said of that, its balance for one, is
    known."""
    at = np.arange(clean.shot.count, dtype=float)
    at[start : start + length] = start
    at[start + length :] -= length
    return retimed(clean.character, at)


def _block(
    clean: Clean, host: Character, parts: tuple[str, ...], start: int, before: int, count: int, after: int
) -> Character | None:
    """The figure that is held from sample ``start``, its parts turned to another pose; None where that brings a hand to
    touch something, or the pose is one in which a foot lands: such a stop is due."""
    shot = clean.shot
    length = before + count + after
    first = start + before
    share = min_jerk((np.arange(shot.count) - first) / count)[:, None]
    share[start + length :] = np.linspace(1, 0, max(1, shot.count - start - length))[:, None] ** 2
    ahead = min(shot.count - 1, start + round(0.5 * shot.rate))
    for part in parts:
        turn = exp(share * _turn(clean, part, start, ahead, count))
        host = edit.with_turn(host, part, local_axes(host, part) @ turn)
    planted = Study(clean.with_(host))
    touching: Hits = planted.of(hits, host)
    touch: Contacts = planted.of(contacts, host)
    lands = any(abs(s.first - first - count) <= before and s.first > 0 for some in touch.stances.values() for s in some)
    hands = [f"hand.{s}" for s in body.SIDES if host.has(f"hand.{s}")]
    return None if lands or any(touching.of(p, first + count) for p in hands) else host


def _stands(clean: Clean, i: int) -> bool:
    """Whether some foot stands at sample i: a figure is not held in the air."""
    return any(clean.touch.standing(foot)[i] for foot in clean.touch.planted)


def _turn(clean: Clean, part: str, start: int, ahead: int, count: int) -> Array:
    """The rotation vector (3,) that the part turns by, in its own axes: where the clip itself goes, far enough to be
    seen."""
    local = local_axes(clean.character, part)
    vector = log(relative(local[start], local[ahead]))
    size = float(norm(vector))
    wanted = PEAK / lever(part) * (count / clean.shot.rate) / 1.875
    if size < 1e-6:
        vector, size = np.array([0.0, 0.0, 1.0]), 1.0
    return np.asarray(vector / size * float(np.clip(size, wanted, np.radians(MOST))))
