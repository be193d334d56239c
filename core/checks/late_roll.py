# SPDX-License-Identifier: GPL-3.0-or-later
"""late-roll: the foot stays flat after the body has gone on over it."""
from collections.abc import Iterator
from typing import ClassVar

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Arrow, Evidence, Label, Patch, places
from ..measures.belt import belt, unjudged
from ..measures.contacts import Contacts, contacts
from ..measures.exposure import exposure
from ..measures.key_refs import keys_in
from ..measures.peel import Peel, peels
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

#: The remedy peels the heel from where the shin leans so far, in degrees: steps of people reach 33 in the middle.
PEELS = 30.0
#: Degrees by which the picture shows it peeled.
SHOWN = 16.0
_BALL = SOLE_POINTS.index("ball")


class LateRoll(Check):
    """The foot stays flat after the body has gone on over it.

    Seen as: a flat-footed walk: the weight has moved on, the shin falls forward over a foot whose heel still sticks to
    the ground, then the foot snaps up.
    Measures: how far the shin leans ahead over the flat foot, in degrees from upright, until 1/24 s after the last
    frame on which its heel is down: on which the sole's pitch is within 10 degrees of that of the stance.
    Limit: 45 degrees low, 60 medium, 75 high; common practice, no source. Captured walks on level and uneven
    ground reach 33 in the middle and 48 at most, a step into a kick 55.
    Silent when: the body does not walk ahead (slower than 0.15 of the square root of gravity times leg, backward or
    sideways), crouches, hips under 0.88 of the leg over the ankle, or the other foot does not come down ahead round the
    lift-off; the shot cuts the step; the body lies.
    Cannot see: a heel late by 2 frames of 24 in half of the steps and by 3 in two of ten: steps differ as much by
    themselves. On trial for that, and since its steps were chosen with all clips in view and late heels are planted in
    two clips alone.
    Remedy: peel the heel about the ball from the frame at which people's steps do.
    """

    lane = "Contacts"
    uses = (peels, tread, sole_tilt, contacts, exposure, belt)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = tuple((f"thigh.{s}", f"shin.{s}", f"foot.{s}") for s in body.SIDES)
    trial = True
    metric = True  # which pace is a walk hangs on gravity
    limit: ClassVar[Limit] = Limit(45.0, 60.0, 75.0, "deg", COMMON_PRACTICE)

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character, "how far the body is over its foot is not known")

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        touch: Contacts = study.of(contacts, character)
        t: Tread = study.of(tread, character)
        legs = {leg[-1]: leg for leg in self.groups_on(character)}
        for step in study.of(peels, character):
            part = step.fall.part
            severity = self.limit_on(character).severity(step.lean)
            lies = touch.elsewhere[part][t.samples[step.flat]:t.samples[step.down] + 1].any()
            if severity is not None and part in legs and not lies:
                yield self._note(study, character, legs[part], step, severity)

    def _note(self, study: Study, character: Character, leg: tuple[str, ...], step: Peel, severity: Severity) -> Note:
        shot = study.shot
        part = leg[-1]
        t: Tread = study.of(tread, character)
        late = _from(step)
        first, last = int(t.samples[late]), int(t.samples[step.down])
        past = f", the body {100 * step.beyond * character.real_size:.0f} cm past its ball" if step.beyond > 0 else ""
        text = (f"The {body.spoken(part)} stays flat to frame {shot.frame(last)}: the shin leans {step.lean:.0f} "
                f"degrees over it{past}{'' if step.heel_off else ', and its heel never leaves before its toes'}")
        return self.note(
            study, character, part, (first, last), last, severity=severity, measured=step.lean, text=text,
            remedy=_peel(study, character, step, late), evidence=_evidence(study, character, step, late),
            keys=keys_in(character, leg, float(shot.frames[first]), float(shot.frames[last])))


def _from(step: Peel) -> int:
    """The drawing from which the heel should peel: the first after which the shin leans that far to the end."""
    under = np.flatnonzero(step.leans[step.flat:step.down + 1] < PEELS)
    return min(step.flat + int(under[-1]) + 1, step.down) if len(under) else step.flat


def _peel(study: Study, character: Character, step: Peel, late: int) -> Turn:
    """The heel raised evenly about the ball from the drawing before ``late``, up to the foot's own pitch at lift-off;
    nowhere lower than it is."""
    shot = study.shot
    t: Tread = study.of(tread, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    k = t.sides.index(step.fall.part[-1])
    start = max(late - 1, step.flat)
    end = max(int(t.samples.searchsorted(step.fall.span.last)), step.down + 1)
    end = min(end, len(t.samples) - 1)
    rows = np.arange(start, end + 1)
    frames = shot.frames[t.samples[rows]]
    even = np.interp(rows, [start, end], [step.rise[start], step.rise[end]])
    raised = np.maximum(even - step.rise[rows], 0.0)
    whole = np.arange(int(np.ceil(frames[0])), int(np.floor(frames[-1])) + 1)

    def on(values: Array) -> Array:
        return straight(values, frames, whole)

    angle = on(raised[:, None])[:, 0]
    ball = t.places[rows, t.columns(t.sides[k])][:, _BALL]
    return Turn(step.fall.part, places(on(tilt.across[rows, k])), tuple(float(v) for v in angle),
                (int(whole[0]), int(whole[-1])), ease=1, toward="heel up", about=places(on(ball)), pivot="ball")


def _evidence(study: Study, character: Character, step: Peel, late: int) -> tuple[Evidence, ...]:
    """The flat sole under the leaning shin, and the sole that has peeled."""
    t: Tread = study.of(tread, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    side = step.fall.part[-1]
    k = t.sides.index(side)
    frames = (study.shot.frame(int(t.samples[late])), study.shot.frame(int(t.samples[step.down])))
    sole = t.places[step.down, t.columns(side)]
    up = turned(exp(np.radians(SHOWN) * tilt.across[step.down, k]), sole - sole[_BALL]) + sole[_BALL]
    at = int(t.samples[step.down])
    ankle, knee = (places(character.head(f"{p}.{side}")[at][None])[0] for p in ("foot", "shin"))
    return (Patch("held_against", frames, places(up[SOLE_OUTLINE])), Patch("found", frames, places(sole[SOLE_OUTLINE])),
            Arrow("found", frames, ankle, knee), Label("found", frames, knee, f"{step.lean:.0f}\N{DEGREE SIGN} over"))
