# SPDX-License-Identifier: GPL-3.0-or-later
"""How two notes lie to each other, on the body and in time: what precedence asks before it lets one own the other.

All reach two frames of 24 beyond a note's own.
"""

import numpy as np

from . import body
from .measures.contacts import contacts
from .note import Note
from .remedy import Land
from .shot import Character
from .study import Study

SLACK_SECONDS = 2 / 24
#: Two notes are over the same frames where what they share is this much of the longer one.
SAME_FRAMES = 0.8

LIMB_OF = {part: limb for limb, parts in body.LIMBS.items() for part in parts}


def on_limb(a: Note, b: Note) -> bool:
    """Whether both are of one limb."""
    limb = LIMB_OF.get(a.part)
    return limb is not None and limb == LIMB_OF.get(b.part)


def moves(owner: Note, other: Note) -> bool:
    """Whether the other's part is one of the owner's, or hangs from one."""
    return carried(owner, other.part)


def several(block: Note, stop: Note) -> bool:
    """Whether two or more of the parts that stop are moved by the block."""
    return sum(carried(block, part) for part in stop.parts) >= 2


def carried(owner: Note, part: str) -> bool:
    """Whether a part is one of the owner's, or hangs from one."""
    return any(part == p or p in body.PARTS and part in body.descendants(p) for p in owner.parts)


def slack(study: Study) -> int:
    """Frames that count as still there."""
    return round(SLACK_SECONDS * study.shot.fps)


def during(study: Study, frame: int, note: Note) -> bool:
    """Whether a scene frame falls into a note's."""
    return note.start - slack(study) <= frame <= note.end + slack(study)


def within(study: Study, note: Note, of: Note) -> bool:
    """Whether a note lasts no longer than another."""
    return during(study, note.start, of) and during(study, note.end, of)


def near(study: Study, a: Note, b: Note) -> bool:
    """Whether two share a frame."""
    return a.start <= b.end + slack(study) and b.start <= a.end + slack(study)


def same_frames(a: Note, b: Note) -> bool:
    """Whether two share most of their frames; no slack."""
    shared = min(a.end, b.end) - max(a.start, b.start) + 1
    return shared >= SAME_FRAMES * (max(a.end - a.start, b.end - b.start) + 1)


def together(study: Study, a: Note, b: Note) -> bool:
    """Whether both are worst at one time."""
    return abs(a.worst - b.worst) <= slack(study)


def character_of(study: Study, note: Note) -> Character:
    """Whom a note is about."""
    return next(c for c in study.shot.characters if c.name == note.character)


def off(study: Study, note: Note) -> float:
    """Meters, at a person's size, by which a frame is off its path: its remedy moves it by so much."""
    if not isinstance(note.remedy, Land):
        return 0.0
    return float(np.linalg.norm(note.remedy.offsets, axis=-1).max()) * character_of(study, note).real_size


def held(study: Study, note: Note) -> bool:
    """Whether the note's foot is planted at its worst frame."""
    if body.base(note.part) != "foot":
        return False
    character = character_of(study, note)
    i = int(np.argmin(np.abs(study.shot.frames - note.worst)))
    return bool(study.of(contacts, character).standing(note.part)[i])
