# SPDX-License-Identifier: GPL-3.0-or-later
"""Contacts as the notes file tells them: one row each, in scene frames, of the judged range alone."""
from dataclasses import dataclass

from ..need import NOTHING
from ..shot import Character
from ..study import Study, measure
from .belt import belt, unjudged
from .exposure import exposure
from .supports import supports
from .tread import tread

#: Decimals kept of frames.
DECIMALS = 2


@dataclass(frozen=True)
class ContactRow:
    """One contact. part: 'foot.L', 'hand.R', 'knee.L', 'seat' ...; on, off: the first planted frame and the first no
    longer planted, scene frames and fractions of them; on None where it began before the judged range, off None where
    it outlasts it; kind: 'full', 'heel', 'ball', 'toe' or 'edge' of a foot, 'full' of other parts."""

    character: str
    part: str
    on: float | None
    off: float | None
    kind: str


@measure(NOTHING, uses=(supports, tread, belt, exposure))
def contact_rows(study: Study, character: Character) -> tuple[ContactRow, ...]:
    """The character's contacts in time order; none where they cannot be judged: without a mapped foot, in poses without
    motion between them, in place over ground of uneven speed, and on a figure of unknown size."""
    if not character.size_is_known or not study.of(tread, character).sides or unjudged(study, character, ""):
        return ()
    shot = study.shot
    assert shot.first is not None and shot.last is not None
    step = (shot.frames[-1] - shot.frames[0]) / max(1, shot.count - 1)
    out = []
    for s in study.of(supports, character).found:
        on, off = (None if at is None else round(float(shot.frames[0] + at * step), DECIMALS)
                   for at in (s.span.on, s.span.off))
        if (on is not None and on > shot.last) or (off is not None and off <= shot.first):
            continue
        out.append(ContactRow(character.name, s.part, on if on is not None and on > shot.first else None,
                              off if off is not None and off <= shot.last else None, s.kind))
    return tuple(out)
