# SPDX-License-Identifier: GPL-3.0-or-later
"""Low notes that tell one thing several times are one note: one spell after another, every step of a cycle.

A low note is a hint. Said once it is read, said at every step it makes people switch the tool off.
"""

from collections.abc import Sequence
from dataclasses import replace

from . import body
from .amounts import frames
from .note import Note, Severity
from .precedence import TWINNED

#: What comes again within so many seconds is the same: a step or less of people's walks, which take 0.5 to 0.6 s.
AGAIN = 1.0
#: More spells than this are counted and not listed.
LISTED = 4


def joined(notes: Sequence[Note], fps: float) -> list[Note]:
    """The notes, those joined that are low and last, of one check and kind, on the same part (of a joint: or its other
    side), and no farther apart than AGAIN. The farthest beyond its limit stays, over the frames of all, with its own
    remedy and keys, and its text names the others: once it is mended the next is told, with those that are left."""
    groups: dict[tuple[object, ...], list[list[Note]]] = {}
    for note in sorted(notes, key=lambda n: (n.start, n.end)):
        spells = groups.setdefault(_same(note), [])
        if spells and _spell(note) and note.start - max(n.end for n in spells[-1]) <= AGAIN * fps:
            spells[-1].append(note)
        else:
            spells.append([note])
    return [_one(spell) for spells in groups.values() for spell in spells]


def _spell(note: Note) -> bool:
    """Whether it may be joined: low, told for sure, and no snap or hitch of one frame, which is mended there."""
    return note.severity == Severity.LOW and not note.trial and note.end > note.start


def _same(note: Note) -> tuple[object, ...]:
    """What notes that may be joined have in common. Steps bend both knees alike; two feet that slip are two faults."""
    parts = tuple(sorted({body.base(part) if note.check in TWINNED else part for part in note.parts}))
    return note.check, note.kind, note.character, note.unit, _spell(note), parts


def _one(spells: list[Note]) -> Note:
    if len(spells) == 1:
        return spells[0]
    worst = max(spells, key=lambda n: abs(n.measured - n.limit))
    others = [n for n in spells if n is not worst]
    told = ", ".join(("" if n.parts == worst.parts else f"the {body.listed(n.parts)} ") + f"in {frames(n.start, n.end)}"
                     for n in others[:LISTED])
    more = f" and {len(others) - LISTED} times more" if len(others) > LISTED else ""
    text = f"{worst.text}; so too {told}{more}, {len(spells)} in all"
    if worst.remedy is not None:
        text += "; the remedy is for this one, and the next is told when it is mended"
    parts = tuple(dict.fromkeys((*worst.parts, *(part for n in others for part in n.parts))))
    return replace(worst, start=min(n.start for n in spells), end=max(n.end for n in spells), parts=parts,
                   text=text)
