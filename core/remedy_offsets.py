# SPDX-License-Identifier: GPL-3.0-or-later
"""Remedies that bring parts elsewhere, as where each part's end has to come: one form for whoever moves the keys."""

from dataclasses import dataclass

import numpy as np

from . import body
from .character import Character
from .numeric.rotation import exp, turned
from .remedy import Balance, Drift, Give, Land, Remedy, Settle, Smooth, Soften
from .shot import Shot

Array = np.ndarray


@dataclass(frozen=True)
class Offset:
    """How far a part's end comes to stand from where it stands, (N, 3) world meters on whole scene frames from
    ``first`` on. own: only the part's own turn may bring it there, not those of the parts above it."""

    part: str
    first: int
    offsets: Array
    own: bool = False


def offsets_of(remedy: Remedy, shot: Shot, character: Character) -> list[Offset]:
    """What the remedy moves, from the root outward; nothing of a remedy of another kind."""
    if isinstance(remedy, Settle):
        found = [Offset(t, remedy.frames[0], np.array(o)) for t, o in zip(remedy.targets, remedy.offsets, strict=True)]
    elif isinstance(remedy, (Smooth, Land, Soften, Give)):
        found = [Offset(remedy.target, remedy.frames[0], np.array(remedy.offsets))]
    elif isinstance(remedy, Drift):
        found = [_drifting(remedy, part, shot, character) for part in remedy.targets if character.has(part)]
    elif isinstance(remedy, Balance):
        goals = {goal.part for goal in character.goals}
        way = np.array(remedy.offsets)
        found = [Offset(remedy.target, remedy.frames[0], way)]
        found += [Offset(p, remedy.frames[0], along(way, p, character)) for p in remedy.along if p in goals]
    else:
        return []
    return sorted(found, key=lambda o: -len(body.descendants(o.part)))


def along(way: Array, part: str, character: Character) -> Array:
    """How far (N, 3) a foot or a hand goes with a pelvis that is moved by ``way`` (N, 3): a foot in the air is not let
    down with it, or it would touch the ground."""
    if body.base(part) != "foot":
        return way
    return np.asarray(way - np.minimum(way @ character.up, 0.0)[:, None] * character.up)


def _drifting(remedy: Drift, part: str, shot: Shot, character: Character) -> Offset:
    """The part's end swung about its own joint."""
    first, last = remedy.frames
    rows = [int(np.abs(shot.frames - frame).argmin()) for frame in range(first, last + 1)]
    line = (character.end(part) - character.head(part))[rows]
    angles = np.radians(np.interp(np.arange(len(rows)), np.linspace(0, len(rows) - 1, len(remedy.angle)), remedy.angle))
    return Offset(part, first, turned(exp(np.outer(angles, remedy.axis)), line) - line, own=True)
