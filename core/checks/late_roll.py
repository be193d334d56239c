# SPDX-License-Identifier: GPL-3.0-or-later
"""late-roll: the foot stays flat after the body has gone on over it."""
from collections.abc import Iterator
from dataclasses import replace
from typing import ClassVar

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Arrow, Evidence, Label, Patch, places
from ..measures.belt import belt, unjudged
from ..measures.contacts import Contacts, contacts
from ..measures.exposure import exposure
from ..measures.key_refs import keys_in
from ..measures.mass import masses, no_more_than
from ..measures.mass_held import held_loads
from ..measures.mass_motion import told
from ..measures.peel import OFF, Peel, peels
from ..measures.sole_tilt import SoleTilt, sole_tilt
from ..measures.tread import Tread, tread
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity
from ..numeric.between import straight
from ..numeric.rotation import exp, turned
from ..remedy import Turn
from ..shot import SOLE_OUTLINE, SOLE_POINTS, Character
from ..study import Study

Array = np.ndarray

#: Of the leg, of the same share of it where the step is small: the remedy peels the heel from where the body is so far
#: past the ball, as people do in the middle.
PEELS = 0.14
#: Of the leg: by where the body is so far past the ball the heel must have left, by so many degrees over the pitch
#: that tells so.
GONE, OVER = 0.2, 2.0
#: s after lift-off within which a foot that leaves flat may still come up to its own pitch.
COMES_UP = 0.125
#: Of the step to where the other foot comes down: a body so far past the ball is late too, low at most. Captured steps
#: that chose it, level and over ground that the scene does not show, reach 0.46.
OF_STEP = 0.47
#: Degrees that the heel rises at its fastest while the body goes on by a tenth of the leg: who snaps it up so is late
#: where the body is GONE already, low at most. Of the steps that chose it those in which the body is so far rise by 38
#: at most, heels that are held down 2 frames of 24 by 45 in the middle.
SNAPS = 40.0
#: Of the leg, the riser of a low stair (15 cm): whose next foot comes down so much higher or lower is pushed up or let
#: down by the foot that he leaves, and snaps it up by that.
STAIR = 0.18
#: Degrees by which the picture shows it peeled.
SHOWN = 16.0
_BALL = SOLE_POINTS.index("ball")


class LateRoll(Check):
    """The foot stays flat after the body has gone on over it.

    Seen as: a flat-footed walk: the weight has moved on, the shin falls forward over a foot whose heel still sticks to
    the ground, then the foot snaps up.
    Measures: how far the center of mass is past the ball of the foot, along the way that the body goes, on the last
    frame on which the heel is down: on which the sole's pitch is within 10 degrees of that of the stance. How far the
    shin leans over the foot by then is told beside it. Masses by a table or the card.
    Limit: 0.25 low, 0.42 medium, 0.60 high, of the leg: 21, 36 and 51 cm on an adult; in small steps low already from
    0.47 of the step, and from 0.2 of the leg (0.38 of the step) where the heel then snaps up, other than on a stair: by
    40 degrees and more, at its fastest, while the body goes on by a tenth of the leg. Common practice, no source.
    Walks that chose them, captured and beside force plates, reach 0.20 in the middle and 0.25 at most, 0.46 of the
    step; of those held back, steps over ground that the scene does not show reach 0.33.
    Silent when: the body does not walk ahead (slower than 0.15 of the square root of gravity times leg, backward or
    sideways), crouches, hips under 0.88 of the leg over the ankle, or the other foot does not come down ahead round the
    lift-off; the shot cuts the step; the body lies.
    Cannot see: a heel late by 2 frames of 24 in two of five of the steps that did not choose these limits, by 3 frames
    in one of six: steps differ as much by themselves, and hips that hang back hide it. On trial for that, and since
    heels snap up of themselves now and then over rough ground.
    Remedy: peel the heel about the ball from the frame at which people's steps do.
    """

    lane = "Contacts"
    uses = (peels, tread, sole_tilt, contacts, exposure, belt, masses, held_loads)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = tuple((f"thigh.{s}", f"shin.{s}", f"foot.{s}") for s in body.SIDES)
    trial = True
    metric = True  # which pace is a walk hangs on gravity
    #: In leg lengths; a note's limit is this times the character's leg, in meters.
    limit: ClassVar[Limit] = Limit(0.25, 0.42, 0.60, "m", COMMON_PRACTICE)

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character, "how far the body is over its foot is not known")

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        touch: Contacts = study.of(contacts, character)
        t: Tread = study.of(tread, character)
        legs = {leg[-1]: leg for leg in self.groups_on(character)}
        for step in study.of(peels, character):
            part = step.fall.part
            severity = self._limit(character, step).severity(step.beyond * character.real_size)
            lies = touch.elsewhere[part][t.samples[step.flat]:t.samples[step.down] + 1].any()
            if severity is not None and part in legs and not lies:
                severity = no_more_than(study.of(masses, character), severity)
                yield self._note(study, character, legs[part], step, severity)

    def _limit(self, character: Character, step: Peel) -> Limit:
        """In meters that the figure stands for."""
        limit = self.limit_on(character).scaled(character.leg_length * character.real_size)
        least = OF_STEP * step.step
        if _snaps(character, step):
            least = min(least, GONE * _reference(character, step))
        return replace(limit, low=min(limit.low, least * self.moved(character) * character.real_size))

    def _note(self, study: Study, character: Character, leg: tuple[str, ...], step: Peel, severity: Severity) -> Note:
        shot = study.shot
        part = leg[-1]
        t: Tread = study.of(tread, character)
        late = _from(step, PEELS * _reference(character, step))
        first, last = int(t.samples[late]), int(t.samples[step.down])
        past = step.beyond * character.real_size
        text = (f"The {body.spoken(part)} stays flat to frame {shot.frame(last)}: the body is {100 * past:.0f} cm past "
                f"its ball, the shin leans {step.lean:.0f} degrees over it"
                f"{', then its heel snaps up' if _snaps(character, step) else ''}"
                f"{'' if step.heel_off else ', and its heel never leaves before its toes'}")
        return self.note(
            study, character, part, (first, last), last, severity=severity, measured=past,
            limit=self._limit(character, step).step(severity), text=text + told(study, character),
            remedy=_peel(study, character, step, late), evidence=_evidence(study, character, step, late, past),
            keys=keys_in(character, leg, float(shot.frames[first]), float(shot.frames[last])))


def _snaps(character: Character, step: Peel) -> bool:
    """Whether the heel snaps up in a step that is none on a stair."""
    return step.snap >= SNAPS and abs(step.higher) < STAIR * character.leg_length


def _reference(character: Character, step: Peel) -> float:
    """The leg, in meters, of whom the step is no small one."""
    return min(character.leg_length, OF_STEP / LateRoll.limit.low * step.step)


def _from(step: Peel, past: float) -> int:
    """The drawing from which the heel should peel: the first after which the body is so far past the ball to the end,
    m."""
    under = np.flatnonzero(step.past[step.flat:step.down + 1] < past)
    return min(step.flat + int(under[-1]) + 1, step.down) if len(under) else step.flat


def _peel(study: Study, character: Character, step: Peel, late: int) -> Turn:
    """The heel raised evenly about the ball from the drawing before ``late``, up to the foot's own pitch at lift-off,
    or soon after where it leaves flat, and off before the body is too far past it; nowhere lower than it is. A foot
    that is flat even then comes up by itself till it leaves, and back soon after."""
    shot = study.shot
    t: Tread = study.of(tread, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    k = t.sides.index(step.fall.part[-1])
    start = max(late - 1, step.flat)
    leaves = int(t.samples.searchsorted(step.fall.span.last))
    end = min(max(leaves, step.down + 1), len(t.samples) - 1)
    off = OFF + OVER
    while (end + 1 < len(t.samples) and step.rise[end] < 2 * off and step.rise[end + 1] > step.rise[end]
           and t.samples[end] - step.fall.span.last < COMES_UP * shot.rate):
        end += 1
    by = max(_from(step, GONE * _reference(character, step)), start + 1)
    flat = step.rise[end] <= off                # it never comes up by itself
    if flat:
        end = min(leaves + max(1, round(COMES_UP * t.rate)), len(t.samples) - 1)
    rows = np.arange(start, end + 1)
    frames = shot.frames[t.samples[rows]]
    even = np.interp(rows, [start, end], [step.rise[start], step.rise[end]])
    if flat and by <= leaves < end:
        even = np.interp(rows, [start, by, leaves, end], [step.rise[start], off, off, step.rise[end]])
    elif by < end and not flat:
        even = np.interp(rows, [start, by, end], [step.rise[start], max(off, even[by - start]), step.rise[end]])
    raised = np.maximum(even - step.rise[rows], 0.0)
    whole = np.arange(int(np.ceil(frames[0])), int(np.floor(frames[-1])) + 1)

    def on(values: Array) -> Array:
        return straight(values, frames, whole)

    angle = on(raised[:, None])[:, 0]
    ball = t.places[rows, t.columns(t.sides[k])][:, _BALL]
    return Turn(step.fall.part, places(on(tilt.across[rows, k])), tuple(float(v) for v in angle),
                (int(whole[0]), int(whole[-1])), ease=1, toward="heel up", about=places(on(ball)), pivot="ball")


def _evidence(study: Study, character: Character, step: Peel, late: int, past: float) -> tuple[Evidence, ...]:
    """The flat sole under the leaning shin, how far the body is past its ball, and the sole that has peeled."""
    t: Tread = study.of(tread, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    side = step.fall.part[-1]
    k = t.sides.index(side)
    frames = (study.shot.frame(int(t.samples[late])), study.shot.frame(int(t.samples[step.down])))
    sole = t.places[step.down, t.columns(side)]
    up = turned(exp(np.radians(SHOWN) * tilt.across[step.down, k]), sole - sole[_BALL]) + sole[_BALL]
    at = int(t.samples[step.down])
    ankle, knee = (places(character.head(f"{p}.{side}")[at][None])[0] for p in ("foot", "shin"))
    ball, under = places(np.stack([sole[_BALL], sole[_BALL] + step.beyond * step.way]))
    return (Patch("held_against", frames, places(up[SOLE_OUTLINE])), Patch("found", frames, places(sole[SOLE_OUTLINE])),
            Arrow("found", frames, ankle, knee), Arrow("found", frames, ball, under),
            Label("found", frames, under, f"{100 * past:.0f} cm past"))
