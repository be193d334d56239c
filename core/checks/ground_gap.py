# SPDX-License-Identifier: GPL-3.0-or-later
"""ground-gap: a foot that stands floats over the ground, or sinks into it."""
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Arrow, Evidence, Label, Patch, places
from ..measures.belt import belt, unjudged
from ..measures.contacts import Contacts, contacts
from ..measures.exposure import exposure
from ..measures.footfalls import Footfall, Footfalls, footfalls
from ..measures.gap import Gap, carriers, gaps
from ..measures.key_refs import keys_in
from ..measures.sole import Soles, soles
from ..measures.tread import tread
from ..measures.underfoot import Underfoot, underfoot
from ..need import Need
from ..note import Limit, Note, Severity, Skip
from ..numeric.between import straight
from ..numeric.spans import held, joined, samples, spans
from ..remedy import Pin
from ..shot import SOLE_OUTLINE, Character
from ..study import Study

Array = np.ndarray

#: Of the leg, where the sole is guessed: a guess knows its height to 3 or 4 cm only.
GUESSED = (0.05, 0.10, 0.15)
#: Seconds left off each end of a contact, in which a foot still comes down or goes up already.
EDGE = 0.08
#: Seconds for which a gap is held.
HELD = 0.1
#: Gaps of one contact this many seconds apart are one note.
TOGETHER = 0.25
#: Seconds over which the remedy evens out what it takes from each frame.
EVEN = 0.12


@dataclass(frozen=True)
class _Found:
    """One gap of a contact: samples first, last, worst; size m, positive over the ground; judged: the first and last
    sample of the contact in which gaps are looked for."""

    fall: Footfall
    first: int
    last: int
    worst: int
    size: float
    judged: tuple[int, int]


class GroundGap(Check):
    """A foot that stands floats over the ground, or sinks into it.

    Seen as: a foot that bears the body hangs over the floor, or is buried in it.
    Measures: the signed distance of the sole to the ground under it, along the ground's normal, while the foot stands:
    of a foot over the ground its lowest point's, of one in it that of the deepest point that stands. The level that
    is held for 0.1 s, the first and last 0.08 s of a contact left off.
    Limit: 0.018 low, 0.047 medium, 0.094 high, of the leg: 1.5, 4 and 8 cm on an adult; common practice, no source.
    Where the sole is only guessed 0.05, 0.10 and 0.15, since a guess knows its height to 3 or 4 cm. Not on trial: on
    clips that are set down on a mesh nothing is above low (docs/corpus_feet.md), and planted gaps are told
    (docs/corpus.md).
    Silent when: no mesh tells the ground (said among what was skipped); the foot swings; what is over the ground bears
    nothing, as a foot held still in the air beside one that stands; the body lies, kneels or sits.
    Cannot see: gaps over 0.16 of the leg (13 cm), which are steps and tables that no mesh tells; contacts under 0.26 s;
    of a foot without a toe bone how deep its tip is, since it bends where no bone does.
    Remedy: pin the foot to the ground, frame by frame, for the whole contact.
    """

    lane = "Contacts"
    uses = (gaps, carriers, footfalls, tread, belt, soles, exposure, underfoot, contacts)
    own_needs = Need.JOINTS | Need.GROUND | Need.KEYS  # keys for the note to name, never for the finding
    groups = tuple((f"thigh.{s}", f"shin.{s}", f"foot.{s}") for s in body.SIDES)
    metric = True
    #: In leg lengths; a note's limit is this times the character's leg, in meters.
    limit: ClassVar[Limit] = Limit(0.018, 0.047, 0.094, "m", "common practice, no source")

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character, "gaps to it are not measured")

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        told: Gap = study.of(gaps, character)
        if not any(np.isfinite(points).any() for points in told.points.values()):
            yield self.skip(character, "no mesh near its feet is taken for ground, so gaps to it are not measured; "
                                       "mark one as ground")
            return
        fallen: Footfalls = study.of(footfalls, character)
        for leg in self.groups_on(character):
            for fall in fallen.falls.get(leg[-1], ()):
                for gap in self._of(study, character, fall):
                    yield self._note(study, character, leg, gap)

    def _limit(self, study: Study, character: Character, side: str) -> Limit:
        """In meters of the shot."""
        sole: Soles = study.of(soles, character)
        base = self.limit
        if sole.source[side] == "guess":
            low, medium, high = GUESSED
            base = replace(base, low=low, medium=medium, high=high)
        return base.scaled(character.leg_length * self.moved(character))

    def _of(self, study: Study, character: Character, fall: Footfall) -> Iterator[_Found]:
        """The gaps of one contact."""
        shot = study.shot
        side = body.side(fall.part) or ""
        edge = EDGE * shot.rate
        first = 0 if fall.span.on is None else int(np.ceil(fall.span.on + edge - 1e-9))
        last = shot.count - 1 if fall.span.off is None else int(np.floor(fall.span.off - edge + 1e-9))
        count = samples(HELD, shot.rate)
        if last - first + 1 < count:
            return
        rows = slice(first, last + 1)
        gap = study.of(gaps, character).gap[side][rows]
        low = self._limit(study, character, side).low
        if not (np.abs(gap) >= low).any():
            return
        t = study.of(tread, character)
        touch: Contacts = study.of(contacts, character)
        drawn = np.clip(np.searchsorted(t.samples, np.arange(first, last + 1), side="right") - 1, 0, None)
        lies = touch.elsewhere[fall.part][drawn]
        bears = study.of(carriers, character)[side][rows]
        for sign in (1.0, -1.0):
            level = held(np.where(bears if sign > 0 else ~lies, sign * gap, np.nan), count)
            for a, b in joined(spans(level >= low), samples(TOGETHER, shot.rate)):
                top = float(level[a:b + 1].max())
                # of a plateau the middle, which is as bad as the rest
                at = np.flatnonzero(level[a:b + 1] >= top * 0.98)
                yield _Found(fall, first + a, first + b, first + a + int(at[len(at) // 2]), sign * top, (first, last))

    def _note(self, study: Study, character: Character, leg: tuple[str, ...], gap: _Found) -> Note:
        shot = study.shot
        part = leg[-1]
        side = body.side(part) or ""
        real = character.real_size
        limit = self._limit(study, character, side).scaled(real)
        measured = abs(gap.size) * real
        severity = limit.severity(measured)
        assert isinstance(severity, Severity)
        first, last = shot.frame(gap.first), shot.frame(gap.last)
        how = ("floats {:.1f} cm over" if gap.size > 0 else "sinks {:.1f} cm into").format(100 * measured)
        text = f"The {body.spoken(part)} {how} the ground from frame {first} to {last}"
        sole: Soles = study.of(soles, character)
        if sole.source[side] == "guess":
            text += ", by a sole that is only guessed"
        return self.note(
            study, character, part, (gap.first, gap.last), gap.worst, severity=severity, measured=measured,
            limit=limit.step(severity), text=text, remedy=_pin(study, character, part, gap),
            evidence=_evidence(study, character, side, gap, measured), kind="over" if gap.size > 0 else "into",
            keys=keys_in(character, leg, float(shot.frames[gap.first]), float(shot.frames[gap.last])))


def _pin(study: Study, character: Character, part: str, gap: _Found) -> Pin:
    """The ankle's own path, raised or lowered until the sole lies on the ground; a contact is brought down whole, so
    that its ends, where the foot comes and goes, keep their height over its middle."""
    shot = study.shot
    side = body.side(part) or ""
    ground: Underfoot = study.of(underfoot, character)
    first, last = gap.judged
    rows = np.arange(first, last + 1)
    rise = np.maximum(ground.normal[side][rows] @ ground.up, 0.1)
    off = study.of(gaps, character).gap[side][rows] / rise
    off = np.where(np.sign(off) == np.sign(gap.size), off, 0.0)
    reach = max(1, round(EVEN / 2 * shot.rate))
    even = np.array([np.median(off[max(0, i - reach):i + reach + 1]) for i in range(len(off))])
    a, b = shot.frame(gap.fall.span.first), shot.frame(gap.fall.span.last)
    whole = np.arange(a, b + 1)
    change = np.interp(whole, shot.frames[rows], even)
    ankle = character.head(part)
    path = straight(ankle, shot.frames, whole)
    swing = min((other.span.first - gap.fall.span.last for other in study.of(footfalls, character).falls[part]
                 if other.span.first > gap.fall.span.last), default=shot.count) / shot.rate
    ease = int(np.clip(swing * shot.fps, 1, max(3, round(0.25 * shot.fps))))
    return Pin(part, places(path - change[:, None] * ground.up), (a, b), ease)


def _evidence(study: Study, character: Character, side: str, gap: _Found, measured: float) -> tuple[Evidence, ...]:
    """The sole at the worst frame, its print on the ground, the gap between the two with its number."""
    frames = (study.shot.frame(gap.first), study.shot.frame(gap.last))
    at = gap.worst
    ground: Underfoot = study.of(underfoot, character)
    points = study.of(gaps, character).points[side][at]
    sole = study.of(soles, character).points[side][at]
    normal = ground.normal[side][at]
    down = sole - np.where(np.isfinite(points), points, gap.size)[:, None] * normal
    known = np.where(np.isfinite(points), points, np.inf)
    foot = int(known.argmin()) if gap.size > 0 else int(np.abs(known - gap.size).argmin())
    over = "over" if gap.size > 0 else "in"
    start, end = places(np.stack([down[foot], sole[foot]]))
    return (Patch("held_against", frames, places(down[SOLE_OUTLINE])),
            Patch("found", frames, places(sole[SOLE_OUTLINE])),
            Arrow("found", frames, start, end),
            Label("found", frames, end, f"{100 * measured:.1f} cm {over} the ground"))
