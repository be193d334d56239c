# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a frame that breaks its path should land: as a remedy, as what is drawn, and the keys behind it."""

from ..evidence import Arrow, Evidence, Label, Point, Polyline, places
from ..note import KeyReference
from ..remedy import Smooth
from ..shot import Character
from ..study import Study
from .breaks import Break
from .key_refs import keys_in
from .paths import where
from .ticks import MOVED_BY, PATHS, Ticks, ticks

#: Drawings drawn on each side of a break, and of the smooth path there.
AROUND, NEAR = 6, 4


def remedy_of(study: Study, character: Character, one: Break) -> Smooth:
    """The frame moved back by what it is off."""
    frame = study.shot.frame(_sample(study, character, one))
    return Smooth(one.part, (frame, frame), places(-one.off[None] * character.leg_length))


def keys_at(study: Study, character: Character, one: Break) -> tuple[KeyReference, ...]:
    at = float(study.shot.frames[_sample(study, character, one)])
    chain = dict.fromkeys(p for p in (*MOVED_BY[one.part], one.part) if character.has(p))
    return keys_in(character, chain, at, at)


def evidence_of(study: Study, character: Character, one: Break, told: str) -> tuple[Evidence, ...]:
    """The path with a tick a drawing, the smooth path there, where the frame is and where it should land."""
    known: Ticks = study.of(ticks, character)
    shot = study.shot
    path = where(character, PATHS[one.part])
    around = known.drawings[max(0, one.drawing - AROUND) : one.drawing + AROUND + 1]
    near = known.drawings[max(0, one.drawing - NEAR) : one.drawing + NEAR + 1]
    at = _sample(study, character, one)
    smooth = path[near].copy()
    smooth[near == at] -= one.off * character.leg_length
    found, landed = places(path[[at]]), places(smooth[near == at])
    frames = shot.frame(int(around[0])), shot.frame(int(around[-1]))
    here = shot.frame(at), shot.frame(at)
    return (
        Polyline("found", frames, places(path[around]), ticks=True),
        Polyline("held_against", frames, places(smooth), ticks=True, dashed=True),
        Point("found", here, found, "ring"),
        Point("held_against", here, landed, "disc"),
        Arrow("held_against", here, found[0], landed[0]),
        Label("found", here, found[0], told),
    )


def _sample(study: Study, character: Character, one: Break) -> int:
    known: Ticks = study.of(ticks, character)
    return int(known.drawings[one.drawing])
