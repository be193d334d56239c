# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures the accepted faults of spacing and arcs anew, by plain differences of the joints' places.

With the checks it shares the body map alone. A snap is told on frames a 24th of a second apart, all phases of them.
"""

from dataclasses import replace

import numpy as np
from plumbline.core import body
from plumbline.core.shot import GRAVITY, Character, Shot
from plumbline.core.testing.corpus import Accepted

Array = np.ndarray

#: Degrees by which two steps of a bend differ, and that are left of it; speed after a stop over that before it, and
#: legs a second before it; pull that a single frame asks of a part, in gravities: a fall asks one.
LEAST_SNAP, STRAIGHT = 8.0, 10.0
MOST_LEFT, LEAST_SPEED = 0.15, 1.0
LEAST_PULL = 1.5
#: Degrees of bend under which a joint is at its length.
CLAMPED = 1.0


def snap(row: Accepted, shot: Shot) -> tuple[bool, str]:
    """Whether each of the row's joints comes to straight, or leaves it, from one frame to the next."""
    told = [_snap(row, shot, part) for part in row.part.split(", ")]
    return min(told)[0] >= LEAST_SNAP, "; ".join(words for _, words in told)


def _snap(row: Accepted, shot: Shot, part: str) -> tuple[float, str]:
    bend = _bend(shot.characters[0], part)
    k = max(1, round(shot.rate / 24))
    best = (0.0, f"{part}: no snap")
    for i in _rows(row, shot, k):
        a, b, d = bend[i - k], bend[i], bend[i + k]
        if bend[i - k : i + k + 1].min() < STRAIGHT and abs(a - 2 * b + d) > best[0]:
            best = (float(abs(a - 2 * b + d)), f"{part}: bent by {a:.1f}, {b:.1f}, {d:.1f} deg in frames "
                    f"{shot.frame(i - k)}, {shot.frame(i)}, {shot.frame(i + k)}")
    return best


def clamp(row: Accepted, shot: Shot) -> tuple[bool, str]:
    """Whether a joint of the row stands at its length all the while, and jerks the limb's end in coming there."""
    told = []
    for part in row.part.split(", "):
        bend = _bend(shot.characters[0], part)[_rows(row, shot, 1)[2:-2]]
        end = next(parts for parts in body.LIMBS.values() if part in parts)[2]
        begins = replace(row, part=end, last=row.first)
        jerked, words = kick(begins, shot)
        told.append((bend.max() <= CLAMPED and jerked, f"{part}: bent by {bend.max():.2f} deg at most; {words}"))
    return max(told)


def _bend(c: Character, part: str) -> Array:
    """Degrees (F,) by which the middle joint of the part's limb is bent."""
    root, mid, _ = next(parts for parts in body.LIMBS.values() if part in parts)
    upper, lower = c.head(mid) - c.head(root), c.end(mid) - c.head(mid)
    cosine = (upper * lower).sum(-1) / np.linalg.norm(upper, axis=-1) / np.linalg.norm(lower, axis=-1)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def stop(row: Accepted, shot: Shot) -> tuple[bool, str]:
    """Whether the part goes from full speed to nothing in one frame."""
    c = shot.characters[0]
    speed = np.linalg.norm(np.diff(_place(c, row.part), axis=0), axis=-1) * shot.rate
    i = min(_rows(row, shot, 1), key=lambda i: (speed[i] / max(speed[i - 1], 1e-9), i))
    before, after = float(speed[i - 1]) * c.real_size, float(speed[i]) * c.real_size
    pull = (before - after) * shot.rate / GRAVITY
    there = after <= MOST_LEFT * before and speed[i - 1] >= LEAST_SPEED * c.leg_length
    return there, f"{row.part}: from {before:.2f} to {after:.2f} m/s in frame {shot.frame(i)}, which takes {pull:.1f} g"


def kick(row: Accepted, shot: Shot) -> tuple[bool, str]:
    """Whether a single frame asks a pull of the part that no body gives."""
    c = shot.characters[0]
    told = []
    for part in row.part.split(", "):
        path = _place(c, part) * c.real_size
        pull = np.linalg.norm(path[2:] - 2 * path[1:-1] + path[:-2], axis=-1) * shot.rate**2 / GRAVITY
        i = max(_rows(row, shot, 1), key=lambda i: pull[i - 1])
        told.append((float(pull[i - 1]), f"{part}: {pull[i - 1]:.0f} g in frame {shot.frame(i)}"))
    return min(told)[0] >= LEAST_PULL, "; ".join(words for _, words in told)


def _place(c: Character, part: str) -> Array:
    """A hand's path is its wrist's."""
    return c.end(part) if part in ("head", "chest") else c.head(part)


def _rows(row: Accepted, shot: Shot, edge: int) -> list[int]:
    """The samples of the row's frames and two beside them, ``edge`` from the shot's ends."""
    start = shot.frames[0] if shot.first is None else shot.first
    first, last = (int(np.abs(shot.frames - start - ((f or 1) - 1) / row.rate * shot.fps).argmin())
                   for f in (row.first, row.last))
    return list(range(max(edge, first - 2), min(last + 2, shot.count - 1 - edge) + 1))


BY_CHECK = {"pop": snap, "dead-stop": stop, "arc-break": kick, "uneven-spacing": kick, "jitter": kick}
