# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart: of each body part its moves and holds with their lengths in frames. Information, not a note."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from . import body
from .measures.dead import AGAINST, dead_spans, not_yet
from .measures.exposure import STILL, Exposure, exposure
from .measures.moves import Moves, floor_of, moves
from .measures.turn import Signal, lever
from .numeric.rotation import norm
from .shot import Character, Shot
from .study import Study, measure

Array = np.ndarray

MOVE, HOLD, MOVING_HOLD, POSE = "move", "hold", "moving hold", "pose"
#: What lies between two moves and is shorter, seconds, is no hold.
LEAST_HOLD = 0.12
#: A hold is a moving one where its mean speed is over this share of what counts as rest.
ALIVE = 0.5
#: A part that is dead for most of the shot is told where its joint is carried at this speed meanwhile, legs a second.
CARRIED = 0.25


@dataclass(frozen=True, slots=True)
class Stretch:
    """One entry of a row: ``kind`` is 'move', 'hold', 'moving hold' or, where poses stand without motion between them,
    'pose'. first, last: scene frames. A move leaves the first and has arrived at the last, a hold lasts from one to
    the other, a pose is shown on all from the first to the last."""

    kind: str
    first: int
    last: int

    @property
    def frames(self) -> int:
        """Its length: frames from the first to the last, of a pose with both inside."""
        return self.last - self.first + (self.kind == POSE)


@dataclass(frozen=True, slots=True)
class Row:
    """One part's line of the chart. signal: 'turn' against what carries it, 'path' through the world (of the pelvis),
    or 'goal', the path of an inverse-kinematics target. step: frames a drawing, -1 stepped."""

    part: str
    signal: str
    step: int
    stretches: tuple[Stretch, ...]

    def of(self, kind: str) -> tuple[Stretch, ...]:
        return tuple(s for s in self.stretches if s.kind == kind)


@dataclass(frozen=True, slots=True)
class Chart:
    """A character's chart over the judged range, scene frames first to last.

    step: frames a drawing of the whole figure, -1 stepped. tail: frames at the end of the shot after the last move of
    any part, whose parts ``ends`` are; 0 where the shot ends in a move. still: parts that never turn. dead: head, arms
    and hands that turn, but are held for most of the shot while the body carries them. why: what could not be charted,
    or ''.
    """

    character: str
    first: int
    last: int
    step: int
    rows: tuple[Row, ...]
    tail: int
    ends: tuple[str, ...]
    still: tuple[str, ...]
    dead: tuple[str, ...]
    why: str = ""

    def own(self, frame: int) -> int:
        """The shot's own count of a scene frame: 1 at the first of the range."""
        return frame - self.first + 1


@measure(uses=(moves, exposure))
def chart(study: Study, character: Character) -> Chart:
    """The character's timing chart. Turns need ROTATIONS; without them only paths are charted, which ``why`` says."""
    shot = study.shot
    assert shot.first is not None and shot.last is not None
    shown: Exposure = study.of(exposure, character)
    known: Moves = study.of(moves, character)
    rows = tuple(sorted(_rows(shot, character, shown, known), key=lambda row: character.parts.index(row.part)))
    ends = [(s.last, row.part) for row in rows for s in row.stretches[-2:] if s.kind == MOVE]
    ends += [(s.first, row.part) for row in rows for s in row.of(POSE)[1:]]
    last = max((frame for frame, _ in ends), default=shot.first)
    return Chart(
        character=character.name,
        first=shot.first,
        last=shot.last,
        step=-1 if shown.stepped else shown.step,
        rows=rows,
        tail=max(0, shot.last - last),
        ends=tuple(dict.fromkeys(part for frame, part in ends if frame == last)),
        still=tuple(p for p in character.parts if shown.parts.get(p) == 0),
        dead=tuple(p for p in AGAINST if _dead(shot, character, p, shown.drawings) and shown.parts.get(p) != 0),
        why="" if character.axes is not None else "the bones' turns were not read, so only paths are charted",
    )


def _rows(shot: Shot, character: Character, shown: Exposure, known: Moves) -> Iterator[Row]:
    for signal in known.turns.signals:
        own = shown.parts.get(signal.part, -1 if shown.stepped else shown.step) if signal.kind == "turn" else (
            -1 if shown.stepped else shown.step)
        if own == 0 or not signal.speed.any():
            continue
        frames = shot.frames[known.turns.drawings]
        if own == -1:
            found = _poses(signal, frames, shot.frames[-1])
        else:
            found = _moves_and_holds(signal, known, frames)
        yield Row(signal.part, signal.kind, own, tuple(_inside(found, shot)))


def _moves_and_holds(signal: Signal, known: Moves, frames: Array) -> Iterator[Stretch]:
    """Moves in order of time and the holds between them; frames (D,) scene frames of the drawings."""
    before = 0
    for move in known.of(signal.part, signal.kind):
        yield from _hold(signal, before, move.first, frames)
        yield Stretch(MOVE, round(float(frames[move.first])), round(float(frames[move.last])))
        before = move.last
    yield from _hold(signal, before, len(frames) - 1, frames)


def _hold(signal: Signal, first: int, last: int, frames: Array) -> Iterator[Stretch]:
    seconds = float(signal.seconds[first:last].sum())
    if seconds < LEAST_HOLD:
        return
    mean = float(signal.speed[first:last] @ signal.seconds[first:last]) / seconds
    kind = MOVING_HOLD if mean > ALIVE * floor_of(signal) else HOLD
    yield Stretch(kind, round(float(frames[first])), round(float(frames[last])))


def _poses(signal: Signal, frames: Array, end: float) -> Iterator[Stretch]:
    """The poses of a part that stands without motion between them."""
    least = STILL * (lever(signal.part) if signal.kind == "turn" else 1.0)
    changes = [0, *(np.flatnonzero(norm(signal.steps) > least) + 1).tolist()]
    starts = [round(float(frames[i])) for i in changes]
    for first, following in zip(starts, [*starts[1:], round(end) + 1], strict=True):
        yield Stretch(POSE, first, following - 1)


def _inside(found: Iterator[Stretch], shot: Shot) -> Iterator[Stretch]:
    """What lies in the judged range, cut to it."""
    assert shot.first is not None and shot.last is not None
    for one in found:
        cut = Stretch(one.kind, max(one.first, shot.first), min(one.last, shot.last))
        if cut.frames > 0:
            yield cut


def _dead(shot: Shot, character: Character, part: str, drawings: Array) -> bool:
    """Whether the part is held dead for most of the shot while the body carries it."""
    found = dead_spans(character, part, drawings, shot.times)
    at = shot.times[drawings]
    if not not_yet(found, at):
        return False
    travel = norm(np.diff(character.head(part)[drawings], axis=0)) / max(character.leg_length, 1e-9)
    seconds = sum(float(at[b] - at[a]) for a, b in found)
    return sum(float(travel[a:b].sum()) for a, b in found) > CARRIED * seconds


def spoken(row: Row) -> str:
    """What the row is of: 'left upper arm', 'path of the pelvis', 'goal of the left foot'."""
    what = {"path": "path of the ", "goal": "goal of the "}.get(row.signal, "")
    return what + body.spoken(row.part)
