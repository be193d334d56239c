# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults planted into sampled motion: what was done, where, and what a review must say about it.

A planter takes a clean shot of one character and returns Cases, each with one fault and nothing else wrong: windows are
taken in which the edit does not move a standing foot. Places and angles are worked out here from joint centers, not
read from the checks' own measures. Used by tests and by the corpus run.
"""

import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from .. import body
from ..catalogue import chosen
from ..check import Check
from ..measures.contacts import Contacts, contacts
from ..note import Note, Result
from ..numeric import ease
from ..numeric.rotation import angle_between, cross, dot, turned, unit
from ..runner import run
from ..shot import Character, Shot
from ..steps import finished
from ..study import Study
from .mend import CannotMend, mend

Array = np.ndarray
Window = tuple[int, int]
#: What a maker makes: a case, or a list of them.
Made = TypeVar("Made")

SIZES = ("small", "middle", "large")
#: Seconds of a planted bend or pull, and of its top: 13 and 3 frames of 24.
WHOLE, TOP = 13 / 24, 2 / 24
#: A standing ankle may be moved by this many meters at most, or the fault would be a slip as well.
STANDS = 0.004
#: A foot that is moved stays this share of the leg over where it stands.
ALOFT = 0.03
#: Degrees beyond the clip's own range of an ankle, at most, to which a plant may bring it.
ANKLE = 2.0
#: A part this near the floor (legs above the lowest foot) may bear the body's weight.
RESTS = {"hand.L": 0.25, "hand.R": 0.25, "shin.L": 0.2, "shin.R": 0.2, "pelvis": 0.4, "head": 0.35}
#: Up to so many places a clip and kind of fault.
PLACES = 2


@dataclass(frozen=True)
class Case:
    """One planted fault. kind names it ('knee reversed'); first and last: samples of the window; severity: what the
    note must say, None where the issue asks for none; measured, tolerance in the check's unit (None: not asked); worst:
    scene frames from first to last within which the measure stays within 5 % of its worst; worst_too: a second such
    stretch apart from the first, as where both ends of a march are alike; known: the review of what was planted in,
    where that is not the clean shot itself."""

    kind: str
    size: str
    shot: Shot
    check: str
    part: str
    severity: str | None
    measured: float | None
    tolerance: float
    window: Window
    worst: tuple[int, int]
    note_kind: str = ""
    worst_too: tuple[int, int] | None = None
    known: Result | None = None

    @property
    def name(self) -> str:
        return f"{self.shot.name}: {self.kind}, {self.size}, {self.part}, samples {self.window[0]} to {self.window[1]}"


@dataclass(frozen=True)
class Verdict:
    """What a review said about a case. note: the one found; others: new notes of other checks, or further ones of this
    check, in the window; silenced: whether the remedy made the note go away (None: no remedy to apply); raised: new
    notes of medium severity or above that it brought; tried: such notes on trial."""

    case: Case
    note: Note | None
    others: tuple[Note, ...]
    silenced: bool | None
    raised: tuple[Note, ...]
    tried: tuple[Note, ...] = ()

    @property
    def severity_right(self) -> bool:
        return self.note is not None and self.note.severity == self.case.severity

    @property
    def alone(self) -> bool:
        return self.note is not None and not self.others

    @property
    def worst_right(self) -> bool:
        stretches = (self.case.worst, self.case.worst_too or self.case.worst)
        return self.note is not None and any(lo - 1 <= self.note.worst <= hi + 1 for lo, hi in stretches)

    @property
    def size_right(self) -> bool | None:
        if self.case.measured is None:
            return None
        return self.note is not None and abs(self.note.measured - self.case.measured) <= self.case.tolerance


def settled() -> list[Check]:
    """The checks that are not on trial. What these find is the same without the others, which own and raise none of
    their notes (core/precedence.py)."""
    return [check for check in chosen(None) if not check.trial]


def review(shot: Shot, checks: Sequence[Check] | None = None, study: Study | None = None) -> Result:
    """These checks, or all, and precedence over a shot; a check that raises is an error here. study: one of the shot,
    for who wants to ask it afterward."""
    result = finished(run(shot, chosen(None) if checks is None else checks, study))
    if result.failed:
        raise AssertionError(f"{shot.name}: {result.failed[0].error}\n{result.failed[0].trace}")
    return result


def judge(case: Case, clean: Result, checks: Sequence[Check] | None = None) -> Verdict:
    """Reviews a case by these checks, or all, against the review of the shot that it was planted in."""
    clean = case.known or clean
    study = Study(case.shot)
    notes = review(case.shot, checks, study).notes
    first, last = (case.shot.frame(i) for i in case.window)
    here = [n for n in notes if n.start <= last + 1 and first - 1 <= n.end]
    right = [n for n in here if n.check == case.check and case.part in n.parts
             and (not case.note_kind or n.kind == case.note_kind) and not _told(n, clean.notes, first - 1, last + 1)]
    note = max(right, key=lambda n: (n.severity.rank, n.end - n.start), default=None)
    others = tuple(n for n in here if n is not note and not n.trial and not _known(n, clean.notes))
    if note is None or note.remedy is None:
        return Verdict(case, note, others, None, ())
    try:
        mended = review(mend(case.shot, note.remedy, note.character, study), checks).notes
    except CannotMend:
        return Verdict(case, note, others, None, ())
    left = [n for n in mended if n.check == case.check and case.part in n.parts
            and not _told(n, clean.notes, note.start, note.end) and n.start <= note.end and note.start <= n.end]
    loud = [n for n in mended if n.severity.rank >= 1 and not _known(n, notes) and not _known(n, clean.notes)]
    return Verdict(case, note, others, not left, tuple(n for n in loud if not n.trial),
                   tuple(n for n in loud if n.trial))


def _known(note: Note, others: Sequence[Note]) -> bool:
    """Whether the others already say this: the same check on a shared part over shared frames, no milder."""
    return any(o.check == note.check and set(o.parts) & set(note.parts) and o.start <= note.end + 1
               and note.start <= o.end + 1 and o.severity.rank >= note.severity.rank for o in others)


def _told(note: Note, others: Sequence[Note], first: int, last: int) -> bool:
    """Whether the others already say this of frames first to last: low notes that follow each other are one, whose
    worst frame may lie there, in a spell that the others have not."""
    if first <= note.worst <= last:
        others = [o for o in others if o.start - 1 <= note.worst <= o.end + 1]
    return _known(note, others)


def quiet(clean: Result, shot: Shot, window: Window, parts: Sequence[str]) -> bool:
    """Whether the clean review has no note on these parts near the window."""
    first, last = shot.frame(window[0]), shot.frame(window[1])
    pad = round(shot.fps / 6)
    return not any(set(n.parts) & set(parts) and n.start <= last + pad and first - pad <= n.end for n in clean.notes)


# ---- time --------------------------------------------------------------------------------------------------


min_jerk = ease.min_jerk


def bump(shot: Shot, centre: int, whole: float = WHOLE, top: float = TOP) -> Array:
    """(F,) 0 to 1 and back within ``whole`` seconds round a sample, 1 for ``top`` seconds, minimum jerk."""
    away = np.abs(np.arange(shot.count) - centre) / shot.rate - top / 2
    return min_jerk(1 - away / ((whole - top) / 2))


def reached(shot: Shot, weight: Array) -> Window:
    """First and last sample that a weight touches."""
    at = np.flatnonzero(weight > 1e-6)
    return int(at[0]), int(at[-1])


def top_frames(shot: Shot, weight: Array) -> tuple[int, int]:
    """First and last scene frame at which the weight is within 1 % of its top."""
    at = np.flatnonzero(weight > 0.99 * weight.max())
    return shot.frame(int(at[0])), shot.frame(int(at[-1]))


def centres(shot: Shot, whole: float = WHOLE, most: int = 40) -> list[int]:
    """Samples round which a window of ``whole`` seconds fits, 0.1 s from the ends, spread evenly, in an order that
    depends only on the shot's name."""
    edge = int(np.ceil((whole / 2 + 0.1) * shot.rate))
    every = np.arange(edge, shot.count - edge)
    if len(every) > most:
        every = every[np.linspace(0, len(every) - 1, most).astype(int)]
    rng = np.random.default_rng(zlib.crc32(shot.name.encode()))
    return [int(i) for i in rng.permutation(every)]


def spaced(found: Iterator[tuple[int, Callable[[str], Made]]], shot: Shot, gap: float = WHOLE,
           places: int = PLACES) -> list[Callable[[str], Made]]:
    """The first makers of cases whose centers are ``gap`` seconds apart."""
    taken: list[int] = []
    out = []
    for centre, make in found:
        if all(abs(centre - t) >= gap * shot.rate for t in taken):
            taken.append(centre)
            out.append(make)
            if len(out) == places:
                break
    return out


# ---- standing feet -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Clean:
    """A shot to plant in: its one character, its clean review, where its feet stand, and the checks (None: all) that
    reviewed it."""

    shot: Shot
    result: Result
    touch: Contacts
    checks: Sequence[Check] | None = None

    @cached_property
    def study(self) -> Study:
        return Study(self.shot)

    @property
    def character(self) -> Character:
        return self.shot.characters[0]

    @property
    def keyed(self) -> bool:
        return self.character.keys is not None

    def with_(self, character: Character) -> Shot:
        return replace(self.shot, characters=(character,))

    def review(self, character: Character) -> Result:
        """What is said of another figure in this one's place."""
        return review(self.with_(character), self.checks)

    def feet_stay(self, character: Character, aloft: float = ALOFT) -> bool:
        """Whether no standing foot was moved, and what was moved stays ``aloft`` legs over where feet stand."""
        for part in ("foot.L", "foot.R"):
            if part in self.touch.planted:
                far = np.linalg.norm(character.head(part) - self.character.head(part), axis=-1)
                standing = self.touch.standing(part)
                if far[standing].max(initial=0.0) > STANDS:
                    return False
                low = (character.head(part) @ character.up)[far > STANDS].min(initial=np.inf)
                heights = (self.character.head(part) @ character.up)[standing]
                usual = float(np.quantile(heights, 0.1)) if len(heights) else 0.0
                if low < usual + aloft * character.leg_length:
                    return False
        return True

    def feet_over(self, character: Character, sinks: float) -> bool:
        """Whether no foot that was moved comes with ankle or ball lower than ``sinks`` legs under where it stands."""
        for part in ("foot.L", "foot.R"):
            if part in self.touch.planted:
                was, now = (np.minimum(c.head(part) @ c.up, c.end(part) @ c.up) for c in (self.character, character))
                moved = np.linalg.norm(character.head(part) - self.character.head(part), axis=-1) > STANDS
                stands = was[self.touch.standing(part)]
                usual = float(np.quantile(stands, 0.1)) if len(stands) else 0.0
                if now[moved].min(initial=np.inf) < usual - sinks * character.leg_length:
                    return False
        return True

    def touches_down(self, character: Character, part: str, window: Window) -> bool:
        """Whether the foot of the moved character stands anywhere in the window."""
        touch: Contacts = Study(self.with_(character)).of(contacts, character)
        return bool(touch.standing(part)[window[0]:window[1] + 1].any())

    def steps_out(self, part: str, window: Window) -> bool:
        """Whether the other foot alone can carry the body all through the window, so that this one may leave the
        ground: it stands, and nothing else is low enough to be rested on."""
        rows = slice(window[0], window[1] + 1)
        other = body.mirror(part)
        return other in self.touch.planted and bool(self.touch.standing(other)[rows].all()) and self.upright(window)

    def upright(self, window: Window) -> bool:
        """Whether the body can rest on its feet only: all else is higher in the window than the floor may be."""
        return not any(self.character.has(p) and self.near_floor(p, window, r) for p, r in RESTS.items())

    def ankles_stay(self, character: Character, beyond: float = ANKLE) -> bool:
        """Whether each foot's angle to its shin stays within what the clean shot itself shows where nothing is noted
        of the foot, and ``beyond`` degrees: else the ankle would be a fault as well."""
        for side in body.SIDES:
            foot = f"foot.{side}"
            if self.character.has(f"shin.{side}", foot):
                clean, planted = (_ankle(c, side) for c in (self.character, character))
                noted = [n for n in self.result.notes if foot in n.parts]
                fine = np.array([not any(n.start <= f <= n.end for n in noted) for f in self.shot.frames])
                moved = np.abs(planted - clean) > 0.01
                if not moved.any():
                    continue
                if not fine.any() or planted[moved].max() > clean[fine].max() + beyond or (
                        planted[moved].min() < clean[fine].min() - beyond):
                    return False
        return True

    def near_floor(self, part: str, window: Window, reach: float) -> bool:
        """Whether the part's joint comes within ``reach`` legs of the lowest foot in the window."""
        c = self.character
        rows = slice(window[0], window[1] + 1)
        feet = [c.tails[rows, c.index[p]] @ c.up for p in ("foot.L", "foot.R") if c.has(p)]
        return bool(feet) and bool((c.head(part)[rows] @ c.up - np.min(feet, axis=0)).min() < reach * c.leg_length)


def _ankle(character: Character, side: str) -> Array:
    """Degrees from shin to foot about the shin's own axis square to both at rest, (F,): a foot that is pointed beyond
    the shin's line has a negative angle."""
    shin, foot = (character.end(p) - character.head(p) for p in (f"shin.{side}", f"foot.{side}"))
    if character.axes is None:
        return np.asarray(np.degrees(angle_between(shin, foot)))
    i, j = character.index[f"shin.{side}"], character.index[f"foot.{side}"]
    across = cross(*(character.rest_tails[k] - character.rest_heads[k] for k in (i, j)))
    axis = unit(turned(character.axes[:, i] @ character.rest_axes[i].T, across))
    return np.asarray(np.degrees(np.arctan2(dot(cross(shin, foot), axis), dot(shin, foot))))


def prepared(shot: Shot, checks: Sequence[Check] | None = None) -> Clean:
    """The shot with what planting asks about it, worked out once."""
    study = Study(shot)
    return Clean(shot, review(shot, checks, study), study.of(contacts, shot.characters[0]), checks)
