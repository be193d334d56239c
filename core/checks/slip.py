# SPDX-License-Identifier: GPL-3.0-or-later
"""slip: a planted foot skates."""
from collections.abc import Iterator
from dataclasses import replace
from typing import ClassVar

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Arrow, Evidence, Patch, places
from ..measures.belt import Belt, belt, unjudged
from ..measures.contacts import Contacts, contacts
from ..measures.drift import Drift, Stand, drifts, stands, steps_of, worth
from ..measures.exposure import exposure
from ..measures.key_refs import keys_in
from ..measures.sole import Soles, soles
from ..measures.tread import Tread, tread
from ..measures.underfoot import Underfoot, underfoot
from ..need import Need
from ..note import Limit, Note
from ..numeric.between import straight
from ..numeric.rotation import norm
from ..numeric.spans import samples
from ..remedy import Pin
from ..shot import SOLE_OUTLINE, Character, Shot
from ..study import Study

Array = np.ndarray

#: On a bare captured skeleton the sole is guessed, and captured feet on unknown ground drift this far: of the leg.
BARE_LOW, BARE_MEDIUM = 0.030, 0.065
#: Pinned feet of keyed motion are exactly pinned, so a slide is followed from 5 mm on, and told of from half of what is
#: noticed for sure: 1 cm on an adult. Of the leg.
KEYED_LEAST, KEYED_LOW = 0.006, 0.012
#: Midway between the largest drift of clean keyed feet and the least that is read of slides of 4 cm, of which up to
#: 3 mm are missing where the foot rolls a little meanwhile (docs/corpus_slip.md, the clips that limits are chosen on).
KEYED_MEDIUM = 0.040
#: A leg pulled straighter than this share of its length pops.
REACH = 0.99
#: A foot this much of the leg over the one that stands bears nothing.
ALOFT = 0.06
#: Hips that go on by this share of a foot's drift beyond their speed so many seconds before and after it went with it.
ALONG, BESIDE = 0.7, 0.08


class Slip(Check):
    """A planted foot skates.

    Seen as: a foot that stands slides over the ground, away from its print.
    Measures: how far the planted patch of the sole drifts in the ground's own plane: from frame to frame the smallest
    step among all places of the patch that stay planted, summed as a vector, so that a pivot about heel, ball or toe
    and a turn on the spot count as none. The largest such drift within 1 s, or within the whole stance where the foot
    is keyed. Slides of one stance less than 0.25 s apart are one note, to and fro ones with the larger's size.
    Against the ground's own motion: a treadmill, a cycle in place, a moving mesh.
    Limit: 0.024 low, 0.042 medium, 0.08 high, of the leg: 2, 3.5 and 6.5 cm on an adult; slides under 21 mm are noticed
    (Prazak, Hoyet and O'Sullivan 2011). Where the sole is only guessed on captured motion low is 0.03 (2.5 cm), medium
    0.065 (5.5 cm), and a foot may turn about any place that the guess may be off by (3.4 cm up or down, 1.7 aside).
    Where planted points repeat exactly, as keys make them, low is 0.012 (1 cm) and medium 0.04 (3.4 cm).
    Silent when: the foot pivots or rolls; the ground carries it; it is in the air, as it is 0.06 of the leg and more
    over a mesh on which the other foot stands; the body may rest on hands, knees, hips or head. Stepped motion, and
    figures in place over ground of uneven speed, are said as skipped.
    Cannot see: the first and last 0.08 s of a stance; stances under 0.25 s; a skate as fast as a step while the other
    foot stands, where any place of the foot also rises by 1 cm or more: without the load on it nothing tried here tells
    that from a low step, nor from a foot dragged back along the floor to where it stood; a foot held still in the air
    from one on a stair, where the scene has no ground; whether the foot bears weight; hands.
    Remedy: pin the foot from the first frame of the drift to the end of its stance, its pivots and rolls kept; where
    no other foot stands and the leg could not reach there, move the whole figure with it, for good.
    """
    lane = "Contacts"
    uses = (contacts, tread, belt, soles, exposure, underfoot)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = tuple((f"thigh.{s}", f"shin.{s}", f"foot.{s}") for s in body.SIDES)
    metric = True
    #: In leg lengths; a note's limit is this times the character's leg, in meters.
    limit: ClassVar[Limit] = Limit(
        0.024, 0.042, 0.08, "m",
        "low: slides under 21 mm are noticed in most conditions (Prazak, Hoyet and O'Sullivan 2011); "
        "medium and high: common practice, no source")

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character, "slip against it is not measured")

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        told = stands(study.of(tread, character), study.of(contacts, character))
        for group in self.groups_on(character):
            yield from self._foot(study, character, group, told[body.side(group[-1])])

    def _foot(self, study: Study, character: Character, leg: tuple[str, ...], stances: list[Stand]) -> Iterator[Note]:
        part = leg[-1]
        ground: Belt = study.of(belt, character)
        t: Tread = study.of(tread, character)
        touch: Contacts = study.of(contacts, character)
        side = body.side(part)
        sole: Soles = study.of(soles, character)
        guessed = sole.source[side] == "guess"
        base = _with(self.limit, low=BARE_LOW, medium=BARE_MEDIUM) if guessed else self.limit
        keyed = _with(self.limit, low=KEYED_LOW, medium=KEYED_MEDIUM)
        least = base.low * t.leg, KEYED_LEAST * t.leg
        steps = steps_of(t, touch, side, guessed, worth(t, touch, side, guessed, stances, *least))
        for drift in drifts(t, steps, stances, *least):
            limit = (keyed if drift.keyed else base).scaled(t.leg * character.real_size)
            measured = drift.size * character.real_size
            severity = limit.severity(measured)
            if severity is None or self._lifted(study, character, part, t, touch, slice(drift.first, drift.last + 1)):
                continue
            remedy = _pin(study, character, part, drift, t)
            moved = ("pelvis", *leg) if remedy.body else leg
            frames = (float(study.shot.frames[t.samples[i]]) for i in (drift.first, drift.last))
            yield self.note(
                study, character, part, (int(t.samples[drift.first]), int(t.samples[drift.last])),
                int(t.samples[drift.worst]),
                severity=severity, measured=measured, limit=limit.step(severity),
                text=self._text(study, character, part, drift, t, measured, ground),
                remedy=remedy, evidence=_evidence(study, part, drift, t, touch),
                keys=keys_in(character, moved, *frames))

    @staticmethod
    def _lifted(study: Study, character: Character, part: str, t: Tread, touch: Contacts, rows: slice) -> bool:
        """Whether the foot hangs in all these drawings: a mesh lies ALOFT under it and lower, on which the other foot
        stands. What is held nearly still there comes to rest as if it stood."""
        other = body.mirror(part)
        if other not in touch.drawn or not touch.drawn[other][rows].any(1).all():
            return False
        ground: Underfoot = study.of(underfoot, character)
        known = np.isfinite(ground.height[body.side(part) or ""][t.samples[rows]]).all()
        return bool(known and _over_the_other(t, part, rows).all())

    def _text(self, study: Study, character: Character, part: str, drift: Drift, t: Tread, measured: float,
              ground: Belt) -> str:
        shot = study.shot
        first, last = (shot.frame(int(t.samples[i])) for i in (drift.first, drift.last))
        to_and_fro = " to and fro" if drift.to_and_fro else ""
        text = f"The {body.spoken(part)} slips {100 * measured:.1f} cm{to_and_fro} from frame {first} to {last}"
        whole = drift.total * character.real_size
        if whole > 1.3 * measured:
            text += f", {100 * whole:.0f} cm in the whole stance"
        if ground.sentence:
            text += f"; {ground.sentence}"
        return text


def _with(limit: Limit, low: float | None = None, medium: float | None = None) -> Limit:
    return replace(limit, low=limit.low if low is None else low, medium=limit.medium if medium is None else medium)


def _evidence(study: Study, part: str, drift: Drift, t: Tread, touch: Contacts) -> tuple[Evidence, ...]:
    """The footprint where the farthest slide starts, carried by its ground to now; the footprint at its end; the drift
    between them."""
    frames = (study.shot.frame(int(t.samples[drift.first])), study.shot.frame(int(t.samples[drift.last])))
    columns = t.columns(body.side(part))
    moved = t.places[drift.worst, columns] - t.places[drift.since, columns]
    own = moved - touch.relative[drift.since:drift.worst, columns].sum(0)
    before, now = t.places[drift.since, columns] + own, t.places[drift.worst, columns]
    middle = now.mean(0)
    return (Patch("held_against", frames, places(before[SOLE_OUTLINE])),
            Patch("found", frames, places(now[SOLE_OUTLINE])),
            Arrow("found", frames, *places(np.stack([middle - drift.vector, middle]))))


def _pin(study: Study, character: Character, part: str, drift: Drift, t: Tread) -> Pin:
    """The ankle's own path less the drift so far, held to the end of the stance: pivots and rolls stay. Where only this
    foot stands, and the hips went along or its leg could not reach there, the whole figure slid, and is moved with
    it."""
    shot = study.shot
    first, last = shot.frame(int(t.samples[drift.first])), shot.frame(int(t.samples[drift.stance_last]))
    whole = np.arange(first, last + 1)
    gone = _on(whole, shot.frames[t.samples[drift.first:drift.stance_last + 1]], drift.so_far())[0]
    root = body.LIMBS[f"leg.{body.side(part)}"][0]
    now, hip, scale = _on(whole, shot.frames, character.head(part), character.head(root), character.scale)
    ease = int(max(1, min(drift.swing_after * shot.fps, max(3, round(0.25 * shot.fps)))))
    touch: Contacts = study.of(contacts, character)
    body_too = (_alone(t, touch, part, slice(drift.first, drift.last + 1))
                and (_went_along(shot, character, t.samples[drift.first], t.samples[drift.last], drift.so_far())
                     or not _reaches(character, part, now - gone, now, hip, scale)))
    return Pin(part, places(now - gone), (first, last), ease, places(-gone) if body_too else ())


def _went_along(shot: Shot, character: Character, first: int, last: int, drift: Array) -> bool:
    """Whether the hips, between samples first and last, went as the foot drifted, (N, 3), beyond how they went on
    before and after it."""
    if not character.has("pelvis"):
        return False
    hips, by = character.head("pelvis"), samples(BESIDE, shot.rate)
    a, b = max(first - by, 0), min(last + by, shot.count - 1)
    speeds = [(hips[j] - hips[i]) / (j - i) for i, j in ((a, first), (last, b)) if j > i]
    if not speeds:
        return False
    beyond = hips[last] - hips[first] - (last - first) * np.mean(speeds, axis=0)
    far = drift[-1]
    return bool(beyond @ far > ALONG * (far @ far))


def _alone(t: Tread, touch: Contacts, part: str, rows: slice) -> bool:
    """Whether the other foot is up in all the drawings: one held in the air comes to rest there as if it stood."""
    other = body.mirror(part)
    if other not in touch.drawn:
        return False
    return bool((~touch.drawn[other][rows].any(1) | _over_the_other(t, other, rows)).all())


def _over_the_other(t: Tread, part: str, rows: slice) -> Array:
    """(N,) bool: in these drawings the foot is ALOFT over where the other one is."""
    high, low = (t.over[rows, t.columns(body.side(p))].min(1) for p in (part, body.mirror(part)))
    return np.asarray(high > low + ALOFT * t.leg)


def _reaches(character: Character, part: str, places: Array, was: Array, hip: Array, scale: Array) -> bool:
    """Whether the leg from the hip (N, 3) of a figure of that scale (N,) can bring its foot to places (N, 3) without
    being straighter than it is with the foot where it was (N, 3)."""
    root, mid, _ = body.LIMBS[f"leg.{body.side(part)}"]
    length = (character.rest_length(root) + character.rest_length(mid)) * scale
    return bool((norm(places - hip) <= np.maximum(REACH * length, norm(was - hip))).all())


def _on(whole: Array, frames: Array, *paths: Array) -> list[Array]:
    """Paths (F, ...) of known frames (F,) on whole frames (N,), in between along straight lines."""
    first = int(np.searchsorted(frames, whole[0]))
    rows = slice(first, first + len(whole))
    if np.array_equal(frames[rows], whole):
        return [path[rows] for path in paths]
    return [straight(path, frames, whole) for path in paths]
