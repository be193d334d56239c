# SPDX-License-Identifier: GPL-3.0-or-later
"""thin-support: all the weight on a heel edge, a toe tip or one side of the foot for too long."""
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Arc, Evidence, Label, Patch, places
from ..measures.belt import belt, unjudged
from ..measures.contacts import Contacts, contacts
from ..measures.exposure import exposure
from ..measures.footfalls import EDGE, HEEL_ONLY, TOE_ONLY, Footfalls, footfalls
from ..measures.key_refs import keys_in
from ..measures.sole import soles
from ..measures.sole_tilt import SoleTilt, sole_tilt
from ..measures.supports import Supports, supports
from ..measures.tread import Tread, tread
from ..measures.underfoot import Underfoot, underfoot
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity
from ..numeric.between import straight
from ..numeric.ease import min_jerk
from ..numeric.spans import joined, spans
from ..remedy import Turn
from ..shot import SOLE_OUTLINE, SOLE_POINTS, Character
from ..study import Study

Array = np.ndarray

#: Of the load: thin patches bear all of it where they bear so much.
ALL = 0.7
#: Of a note's time: a foot that stands thinly for more is named with the one that bears most.
BOTH = 0.8
#: Body weights: less than this is a jump's, not a stand's.
PRESSES = 0.4
#: Degrees by which the sole must be off the ground for a patch to be thin: a guessed sole on a slope that no mesh tells
#: looks like one otherwise.
HEEL, TOE, SIDE = 12.0, 20.0, 15.0
#: Hips this low over the lower ankle, of the leg, sit, kneel or get up: a foot then stands as it can.
UPRIGHT = 0.7
#: A guessed sole is borne out where it lies within so many degrees of flat under the weight for so many seconds.
FLAT, FLAT_FOR = 10.0, 0.2
#: Seconds within which a patch may widen without an end to the note.
TOGETHER = 0.06
#: Of the leg: a toe tip so near to a mesh lies on it.
TOUCHES = 0.02
#: Seconds over which the remedy is eased in, and out.
EASES = 0.2
_TIP = SOLE_POINTS.index("toe_tip")


@dataclass(frozen=True)
class _Face:
    """One way to stand thinly: what the patch is called, the sole's points that it turns about, how it is set down."""

    name: str
    pivot: tuple[str, ...]
    down: str


_FACES = {
    "heel": _Face("heel edge", ("heel",), "toes down"),
    "toe": _Face("toe tip", ("toe_tip",), "heel down"),
    "inner": _Face("inner edge", ("heel_inner", "ball_inner"), "outer side down"),
    "outer": _Face("outer edge", ("heel_outer", "ball_outer"), "inner side down"),
}


class ThinSupport(Check):
    """All the weight on a heel edge, a toe tip or one side of the foot for too long.

    Seen as: the body balances on the back of a heel, the tip of its toes or the side of a foot where it would widen its
    stand.
    Measures: for how many seconds the parts of the soles that lie on the ground are a heel alone with the toes 12
    degrees up, a toe tip alone with the heel 20 degrees up, or one side alone with the other 15 degrees up, while they
    bear 0.7 of the weight and more, by the pressure point that the motion needs.
    Limit: 0.25 s low, 0.4 s medium, 0.8 s high; common practice, no source. A heel strike of captured walks is over
    after 0.12 s. Not on trial: on clean clips nothing is above low, and weight planted on heel edges is told
    (docs/corpus_feet.md).
    Silent when: the foot rolls on in time; another foot or a hand shares the weight; the body stands on the balls of
    its feet, which is a stance; it lies, kneels, sits or gets up, hips under 0.7 of the leg over the ankles; in flight.
    Of a toe tip also where no mesh lies under it: toes that hang, or climb what the scene does not show, look the same.
    Cannot see: the first and last 0.1 s of a shot, where the weight is not known; a sole that is only guessed and
    nowhere lies flat under the weight; a tilt that the ground has too where no mesh tells it.
    Remedy: set the rest of the foot down about the edge that it stands on.
    """

    lane = "Contacts"
    uses = (footfalls, tread, sole_tilt, soles, supports, contacts, exposure, belt, underfoot)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = tuple((f"thigh.{s}", f"shin.{s}", f"foot.{s}") for s in body.SIDES)
    metric = True
    limit: ClassVar[Limit] = Limit(0.25, 0.4, 0.8, "s", COMMON_PRACTICE)

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character, "what stands on it is not known")

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        t: Tread = study.of(tread, character)
        faces = _thin(study, character)
        if not (faces != "").any() or not all(character.has(f"thigh.{side}") for side in t.sides):
            return
        load = _load(study, character)
        for a, b in joined(spans(_alone(study, character, faces, load)), max(1, round(TOGETHER * t.rate))):
            seconds = float(t.samples[min(b + 1, len(t.samples) - 1)] - t.samples[a]) / study.shot.rate
            severity = self.limit_on(character).severity(seconds)
            if severity is None:
                continue
            # the foot that bears most is the note's, the other one is named where it stands as thinly
            thin = faces[a:b + 1] != ""
            k = int(np.where(thin, np.nan_to_num(load[a:b + 1]), 0.0).sum(0).argmax())
            names, counts = np.unique(faces[a:b + 1, k][thin[:, k]], return_counts=True)
            feet = [f"foot.{side}" for side in t.sides]
            legs = {leg[-1]: leg for leg in self.groups_on(character)}
            if feet[k] in legs:
                parts = (feet[k], *(foot for j, foot in enumerate(feet) if j != k and thin[:, j].mean() > BOTH))
                yield self._note(study, character, legs[feet[k]], k, str(names[counts.argmax()]), (a, b), seconds,
                                 severity, parts)

    def _note(self, study: Study, character: Character, leg: tuple[str, ...], k: int, name: str,
              span: tuple[int, int], seconds: float, severity: Severity, parts: tuple[str, ...]) -> Note:
        shot = study.shot
        part, face = leg[-1], _FACES[name]
        t: Tread = study.of(tread, character)
        tilt: SoleTilt = study.of(sole_tilt, character)
        a, b = span
        angle = tilt.pitch[a:b + 1, k] if name in ("heel", "toe") else tilt.roll[a:b + 1, k]
        worst = a + int(np.abs(angle).argmax())
        first, last, at = (int(t.samples[i]) for i in (a, b, worst))
        text = (f"The {body.spoken(part)} bears all the weight on its {face.name} for {seconds:.2f} s, frames "
                f"{shot.frame(first)} to {shot.frame(last)}, {abs(float(angle[worst - a])):.0f} degrees off the ground")
        for other in parts[1:]:
            text += f"; the {body.spoken(other)} stands so too"
        return self.note(
            study, character, part, (first, last), at, parts=parts, severity=severity, measured=seconds, text=text,
            remedy=set_down(study, character, part, k, name, span), kind=name,
            evidence=_evidence(study, character, k, face, span, worst, seconds),
            keys=keys_in(character, leg, float(shot.frames[first]), float(shot.frames[last])))


def _thin(study: Study, character: Character) -> Array:
    """(D, sides) str: the face on which each foot stands thinly, '' where it does not."""
    fallen: Footfalls = study.of(footfalls, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    if not fallen.kind.size:
        return np.zeros(fallen.kind.shape, "U5")
    side = fallen.kind == EDGE
    tip = (fallen.kind == TOE_ONLY) & (tilt.pitch < -TOE) & _on_mesh(study, character)
    return np.asarray(np.select(
        [(fallen.kind == HEEL_ONLY) & (tilt.pitch > HEEL), tip,
         side & (tilt.roll < -SIDE), side & (tilt.roll > SIDE)], list(_FACES), ""))


def _on_mesh(study: Study, character: Character) -> Array:
    """(D, sides) bool: the toe tip lies on a mesh."""
    t: Tread = study.of(tread, character)
    ground: Underfoot = study.of(underfoot, character)
    tips = np.stack([t.places[:, t.columns(side)][:, _TIP] @ t.up for side in t.sides], 1)
    level = np.stack([ground.height[side][t.samples, _TIP] for side in t.sides], 1)
    return np.asarray(np.abs(tips - np.where(np.isnan(level), np.inf, level)) < TOUCHES * t.leg)


def _load(study: Study, character: Character) -> Array:
    """(D, sides) body weights that each foot bears."""
    t: Tread = study.of(tread, character)
    found: Supports = study.of(supports, character)
    return np.stack([found.load[found.parts.index(f"foot.{side}")][t.samples] for side in t.sides], 1)


def _alone(study: Study, character: Character, faces: Array, load: Array) -> Array:
    """(D,) bool: thin patches bear all the weight."""
    t: Tread = study.of(tread, character)
    found: Supports = study.of(supports, character)
    touch: Contacts = study.of(contacts, character)
    lies = np.stack([touch.elsewhere[f"foot.{side}"] for side in t.sides], 1)
    total = found.load[:, t.samples].sum(0)
    hips, ankles = (np.stack([character.head(f"{p}.{side}")[t.samples] @ t.up for side in t.sides])
                    for p in ("thigh", "foot"))
    upright = hips.mean(0) - ankles.min(0) >= UPRIGHT * t.leg
    faces = np.where(_seen_flat(study, character, load, upright), faces, "")
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where((faces != "") & ~lies, load, 0.0).sum(1) / total
        return np.asarray((share >= ALL) & (total >= PRESSES) & upright)


def _seen_flat(study: Study, character: Character, load: Array, upright: Array) -> Array:
    """(sides,) bool: the sole is known, or a guess that is borne out: somewhere it lies flat under an upright body. Of
    a clip that lies and gets up the guess takes a foot on its side for one that stands."""
    t: Tread = study.of(tread, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    source = study.of(soles, character).source
    flat = (np.maximum(np.abs(tilt.pitch), np.abs(tilt.roll)) < FLAT) & upright[:, None] & (load > PRESSES)
    known = np.array([source[side] != "guess" for side in t.sides])
    return np.asarray(known | (flat.sum(0) >= FLAT_FOR * t.rate))


def set_down(study: Study, character: Character, part: str, k: int, name: str, span: tuple[int, int]) -> Turn:
    """The foot turned flat, frame by frame, about the place that it stands on; eased in and out over frames in which it
    is never turned farther than flat, since it comes from another tilt and goes to another."""
    shot, face = study.shot, _FACES[name]
    t: Tread = study.of(tread, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    frames = shot.frames[t.samples]
    ease = EASES * shot.fps
    first, last = (float(frames[i]) for i in span)
    whole = np.arange(max(shot.frame(0), int(np.ceil(first - ease))),
                      min(shot.frame(shot.count - 1), int(np.floor(last + ease))) + 1)
    along = name in ("heel", "toe")
    # a turn about the sole's left lifts its toes, about its own heading its left side
    axis = (tilt.across if along else tilt.ahead)[:, k]
    angle = tilt.pitch[:, k] if along else -tilt.roll_left[:, k]
    columns = t.columns(t.sides[k])
    about = t.places[:, columns][:, [SOLE_POINTS.index(p) for p in face.pivot]].mean(1)

    def on(values: Array) -> Array:
        return straight(values, frames, whole)

    outside = np.maximum(np.maximum(first - whole, whole - last), 0) / ease
    turn = on(angle[:, None])[:, 0] * (1 - min_jerk(outside))
    way = float(np.sign(np.median(angle[span[0]:span[1] + 1])))
    angles = tuple(way * np.maximum(way * turn, 0.0))
    return Turn(part, places(on(axis)), tuple(float(v) for v in angles), (int(whole[0]), int(whole[-1])), ease=1,
                toward=face.down, about=places(on(about)), pivot=face.name)


def _evidence(study: Study, character: Character, k: int, face: _Face, span: tuple[int, int], worst: int,
              seconds: float) -> tuple[Evidence, ...]:
    """What lies on the ground, the print of the whole sole that could, and the angle between the two, which alone shows
    where the ground bears no more than a line."""
    t: Tread = study.of(tread, character)
    fallen: Footfalls = study.of(footfalls, character)
    frames = (study.shot.frame(int(t.samples[span[0]])), study.shot.frame(int(t.samples[span[1]])))
    columns = t.columns(t.sides[k])
    sole, normal = t.places[worst, columns], t.normal[worst, columns][0]
    stands = fallen.planted[worst, columns]
    pivot = sole[[SOLE_POINTS.index(p) for p in face.pivot]].mean(0)
    flat = sole - ((sole - pivot) @ normal)[:, None] * normal
    thin = flat[stands] if stands.sum() > 2 else flat[[SOLE_POINTS.index(p) for p in face.pivot]]
    return (Patch("held_against", frames, places(flat[SOLE_OUTLINE])),
            Patch("found", frames, places(thin)),
            _off_ground(study.of(sole_tilt, character), worst, k, flat - pivot, frames, pivot),
            Label("found", frames, places(pivot[None])[0], f"{seconds:.2f} s on the {face.name}"))


def _off_ground(tilt: SoleTilt, worst: int, k: int, flat: Array, frames: tuple[int, int], pivot: Array) -> Arc:
    """The angle from the ground to the sole about the place that it stands on; flat (n, 3): the whole sole's print from
    there, meters."""
    along = abs(tilt.pitch[worst, k]) >= abs(tilt.roll[worst, k])
    axis = (tilt.across if along else tilt.ahead)[worst, k]
    angle = -tilt.pitch[worst, k] if along else tilt.roll_left[worst, k]
    out = flat.mean(0) - (flat.mean(0) @ axis) * axis
    zero = out / np.linalg.norm(out)
    (centre,), (turn,), (start,) = places(pivot[None]), places(axis[None]), places(zero[None])
    reach = (flat @ zero).max() / np.cos(np.radians(angle))  # the print is the sole's shadow
    return Arc("found", frames, centre, turn, start, float(angle), float(reach))
