# SPDX-License-Identifier: GPL-3.0-or-later
"""One fault, one note: which check owns what several of them see.

Within one limb and two frames of 24, the first rule below that fits decides. The note that gives way is named in the
text of the one that stays, which takes the greater severity of the two.

1. A reversed knee or elbow (``joint-limit`` hyperextension) owns the limb's ``overextension``: a joint that is bent
   backward has crossed straight twice.
2. ``overextension`` by stretch or by a goal out of reach owns the same limb's flat joint, the ``slip`` of a foot that
   it pulls along, and its ``ground-gap`` where it pulls the foot off the ground.
3. A note on the proximal part of a limb owns the ``joint-limit`` of its end where that end is held by a contact: with a
   foot planted under a reversed knee, the ankle's angle is the consequence.
4. A joint that is flat and nothing else owns only what is low: it is never more than low itself.
5. A foot that floats over its ground (``ground-gap``) owns that foot's ``slip``: what hangs is not held.
6. A joint that is reversed, stretched or out of its goal's reach owns its ``pop``; a ``pop`` owns the flat joint.
7. What breaks a part's path drawing by drawing (``jitter``, ``uneven-spacing``, ``arc-break``) is owned by what moves
   it there: a note of 6 on the limb; a ``linear-span`` or ``dead-stop`` of the part or of what carries it, at its ends;
   a ``jitter`` owns all single breaks in its run.
8. Both sides of one joint over the same frames are one note that lists both parts.

A note on trial that gives way to one that is not never raises it.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from . import body
from .measures.contacts import contacts
from .measures.ticks import MOVED_BY
from .note import Note, Severity
from .study import Study

SLACK_SECONDS = 2 / 24
#: Two notes are over the same frames where what they share is this much of the longer one.
SAME_FRAMES = 0.8


def settle(study: Study, notes: list[Note]) -> list[Note]:
    """The notes that stay, those that gave way named in their text."""
    for owns in (_reversed_owns_straight, _pulled_owns_what_it_pulls, _proximal_owns_held_end, _floating_owns_slip,
                 _strained_owns_pop, _pop_owns_flat):
        notes = _absorbed(study, notes, owns)
    for check in _PATH_OWNERS:
        notes = _paths_absorbed(study, notes, check)
    return _both_sides(study, notes)


Rule = Callable[[Study, Note, Note], bool]
#: Checks of a limb's joints, those whose notes may have a twin on the other side, and those that may own another's.
_JOINTS = ("joint-limit", "overextension")
_TWINNED = (*_JOINTS, "pop")
_OWNERS = (*_TWINNED, "ground-gap")
#: Checks that judge a path drawing by drawing, and what may own their notes, in this order.
_PATHS = ("jitter", "uneven-spacing", "arc-break")
_PATH_OWNERS = (*_JOINTS, "pop", "linear-span", "dead-stop", "jitter")


_LIMB_OF = {part: limb for limb, parts in body.LIMBS.items() for part in parts}


def _limb(note: Note) -> str | None:
    return _LIMB_OF.get(note.part)


def _reversed_owns_straight(study: Study, owner: Note, other: Note) -> bool:
    return owner.check == "joint-limit" and owner.kind == "hyperextension" and other.check == "overextension"


def _pulled_owns_what_it_pulls(study: Study, owner: Note, other: Note) -> bool:
    pulled = owner.check == "overextension" and owner.kind in ("stretch", "gap")
    return pulled and (
        other.check == "slip"
        or (other.check == "overextension" and other.kind == "flat")
        or (other.check == "ground-gap" and other.kind == "over")
    )


def _floating_owns_slip(study: Study, owner: Note, other: Note) -> bool:
    return owner.check == "ground-gap" and owner.kind == "over" and other.check == "slip"


def _proximal_owns_held_end(study: Study, owner: Note, other: Note) -> bool:
    limb = _limb(owner)
    if owner.check not in _JOINTS or limb is None or other.check != "joint-limit" or other.part != body.LIMBS[limb][2]:
        return False
    if owner.kind == "flat" and other.severity != Severity.LOW:
        return False
    return owner.part != other.part and _held(study, other)


def _strained_owns_pop(study: Study, owner: Note, other: Note) -> bool:
    return other.check == "pop" and _strained(owner)


def _pop_owns_flat(study: Study, owner: Note, other: Note) -> bool:
    return owner.check == "pop" and other.check == "overextension" and other.kind == "flat"


def _strained(note: Note) -> bool:
    """Whether the joint is reversed, or the limb stretched or pulled."""
    return note.kind == "hyperextension" or (note.check == "overextension" and note.kind in ("stretch", "gap"))


def _owns_path(study: Study, owner: Note, other: Note) -> bool:
    """Whether the owner's fault is what breaks the other's path."""
    if owner.check in _TWINNED:
        return (owner.check == "pop" or _strained(owner)) and _limb(owner) == _limb(other)
    if not any(other.part == p or other.part in body.descendants(p) or p in MOVED_BY[other.part] for p in owner.parts):
        return False
    if owner.check == "linear-span":
        slack = round(SLACK_SECONDS * study.shot.fps)
        return any(other.start - slack <= end <= other.end + slack for end in (owner.start, owner.end))
    return owner.check != other.check


def _paths_absorbed(study: Study, notes: list[Note], check: str) -> list[Note]:
    """The notes on paths given to those of ``check`` that own them."""
    gone: set[int] = set()
    named: dict[int, list[Note]] = {}
    paths = [k for k, note in enumerate(notes) if note.check in _PATHS]
    for i, owner in enumerate(notes):
        for k in paths if owner.check == check else ():
            if k != i and k not in gone and _near(study, owner, notes[k]) and _owns_path(study, owner, notes[k]):
                gone.add(k)
                named.setdefault(i, []).append(notes[k])
    return [_naming(note, named.get(i, [])) for i, note in enumerate(notes) if i not in gone]


def _held(study: Study, note: Note) -> bool:
    """Whether the note's foot is planted at its worst frame."""
    if body.base(note.part) != "foot":
        return False
    character = next(c for c in study.shot.characters if c.name == note.character)
    i = int(np.argmin(np.abs(study.shot.frames - note.worst)))
    return bool(study.of(contacts, character).standing(note.part)[i])


def _near(study: Study, a: Note, b: Note) -> bool:
    slack = round(SLACK_SECONDS * study.shot.fps)
    return a.character == b.character and a.start <= b.end + slack and b.start <= a.end + slack


def _absorbed(study: Study, notes: list[Note], owns: Rule) -> list[Note]:
    gone: set[int] = set()
    named: dict[int, list[Note]] = {}
    on_limb: dict[tuple[str, str | None], list[int]] = {}
    for i, note in enumerate(notes):
        on_limb.setdefault((note.character, _limb(note)), []).append(i)
    for i, owner in enumerate(notes):
        limb = _limb(owner)
        if limb is None or i in gone or owner.check not in _OWNERS:
            continue
        for k in on_limb[owner.character, limb]:
            other = notes[k]
            if (
                k != i
                and k not in gone
                and _near(study, owner, other)
                and owns(study, owner, other)
            ):
                gone.add(k)
                named.setdefault(i, []).append(other)
    return [_naming(note, named.get(i, [])) for i, note in enumerate(notes) if i not in gone]


def _naming(owner: Note, others: list[Note]) -> Note:
    for other in others:
        raised = owner.severity if other.trial and not owner.trial else _greater(owner.severity, other.severity)
        owner = replace(owner, text=f"{owner.text}; with it {_short(other)}", severity=raised)
    return owner


def _greater(a: Severity, b: Severity) -> Severity:
    return a if a.rank >= b.rank else b


def _short(note: Note) -> str:
    return f"{note.check} of the {body.spoken(note.part)}, frames {note.start} to {note.end}"


def _both_sides(study: Study, notes: list[Note]) -> list[Note]:
    kept: list[Note] = []
    for note in sorted(notes, key=lambda n: -n.severity.rank):
        twin = next((k for k in kept if _twins(study, k, note)), None) if note.check in _TWINNED else None
        if twin is None:
            kept.append(note)
        else:
            place = kept.index(twin)
            kept[place] = replace(
                twin,
                parts=(*twin.parts, *note.parts),
                text=f"{twin.text}; the {body.spoken(note.part)} too, {_amount(note)}",
            )
    return kept


def _amount(note: Note) -> str:
    return {
        "deg": f"{note.measured:.0f} degrees",
        "1": f"{note.measured * 100:.1f} percent",
        "m": f"{note.measured * 100:.1f} cm",
    }.get(note.unit, f"{note.measured:.3g} {note.unit}")


def _twins(study: Study, a: Note, b: Note) -> bool:
    if a.check not in _TWINNED or (a.check, a.kind, a.character) != (
        b.check,
        b.kind,
        b.character,
    ):
        return False
    if b.part != body.mirror(a.part) or b.part == a.part or b.part in a.parts:
        return False
    shared = min(a.end, b.end) - max(a.start, b.start) + 1
    return shared >= SAME_FRAMES * (max(a.end - a.start, b.end - b.start) + 1)
