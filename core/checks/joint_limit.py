# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints that go farther than joints go."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Arc, Evidence, Polyline
from ..measures.angles import JointAngle, angles
from ..measures.bearing import bearing_hands
from ..measures.build import unlike_people
from ..measures.key_refs import keys_in
from ..need import Need
from ..note import Limit, Note, Severity, Skip
from ..numeric.spans import HELD_SECONDS, beyond, held, nearest, samples
from ..remedy import Turn
from ..shot import Character
from ..study import Study
from ..tables.joint_ranges import ANY_BODY, BEARING_WRIST, BY_NAME, RANGES, Range

Array = np.ndarray

CLOSES = 5.0  # degrees below the limit at which a span ends
JOIN_SECONDS = 0.2
# Degrees inside the limit from which the remedy takes hold, and by which the worst frame then clears the limit. A
# reversed knee or elbow is brought back to a natural bend of some degrees, not to the last reversed one allowed.
APPROACH, MARGIN = 10.0, 1.0
APPROACH_REVERSED, MARGIN_REVERSED = 16.0, 13.0
REACH_SECONDS = 0.5  # how far outside the span it goes at most
# Degrees past a range of the table under which nothing is told: who measures the same joint twice reads 3 to 4 apart
# (Boone and others 1978, Phys Ther 58:1355-1360, from memory), and joint centers are known no better.
UNSURE = 3.0


@dataclass(frozen=True)
class Bound:
    """One end of an angle to be judged: beyond ``most`` degrees of ``sign`` times the angle."""

    range: Range
    sign: float
    most: float
    source: str
    from_card: bool = False

    @property
    def least(self) -> float:
        """Degrees that the limit is nowhere under, whatever eases it."""
        return self.most if self.from_card or self.range.eased is None else min(self.most, self.range.eased[3])


#: The ends of the table by the part that turns, sides left out.
_ENDS = {part: tuple(r for r in RANGES if r.part == part) for part in {r.part for r in RANGES}}


class JointLimit(Check):
    """A joint bends farther than that joint goes, or the wrong way.

    Seen as: a knee or elbow that breaks backward, a hand folded onto its forearm, a leg spread or a head turned farther
    than a body can.
    Measures: angles between anatomical frames that are laid at rest and carried by the bones, in degrees, so that bone
    roll and Euler order do not matter; knee and elbow as the lower bone's direction in the plane of the hinge.
    Limit: degrees past the end of the joint's range, held for 0.08 s (2 frames of 24): above 0 low, 10 medium, 25 high.
    A shorter peak is low at most. On a figure whose proportions are far from any person's (legs, trunk and arms:
    measures/build) the ranges are no more than a hint: what would be high is low there, the rest is silent, and that
    is said among what was skipped; a reversed knee or elbow is one on any figure. Each end of a range is listed with
    its published value in tables/joint_ranges; card limits stand above them, and are taken at their word on any figure.
    A span goes on until the angle is 5 degrees inside, and spans 0.2 s apart are one.
    Silent when: it passes a range of the table by less than 3 degrees, which the same joint measured twice differs by
    (Boone and others 1978); a hand that bears weight tilts up to 95 degrees, a thigh raised to the front spreads up to
    90; the character is not human (then only reversed knees and elbows and the card's own limits are judged).
    Cannot see: less than 3 to 5 degrees of hyperextension on captured motion, whose joint centers are no better; roll
    about a straight limb; a twist done by skinning alone; flexion and deviation of the wrist apart from each other,
    because the body map knows no palm; which side of straight a leg is on that is straight at rest, has no foot and
    never bends over 15 degrees, or on an arm that is modeled bent to the back and then bends both ways.
    Remedy: turn the part back about the joint's own axis, all the way on the worst frame and less toward frames 10
    degrees inside the limit, so that the move keeps its shape; a reversed knee or elbow back to a slight natural bend.
    """

    lane = "Limbs"
    uses = (angles, bearing_hands)
    own_needs = Need.KEYS  # for the note to name, never for the finding
    groups = tuple(
        g
        for s in body.SIDES
        for g in (
            (f"thigh.{s}", f"shin.{s}"),
            (f"upper_arm.{s}", f"forearm.{s}"),
            (f"forearm.{s}", f"hand.{s}"),
            ("pelvis", f"thigh.{s}"),
            ("chest", f"upper_arm.{s}"),
            (f"shin.{s}", f"foot.{s}"),
        )
    ) + (("chest", "head"), ("pelvis", "chest"))
    limit = Limit(
        0.0,
        10.0,
        25.0,
        "deg",
        "degrees past the range's end: common practice, no source; the ranges' ends: "
        "tables/joint_ranges, each with its published value",
    )

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        known: dict[tuple[str, str], JointAngle] = study.of(angles, character)
        for name in character.card.limits:
            if name.partition(".")[0] not in BY_NAME:
                yield self.skip(
                    character,
                    f'the card limits "{name}", which is no joint angle; there are {", ".join(r.name for r in RANGES)}',
                )
        unlike = unlike_people(character)
        if unlike:
            yield self.skip(character, f"people's ranges are no more than a hint, for {unlike}: only what is "
                                       f"{self.limit.high:g} deg past them is told, as low")
        for part in (p for p in body.PARTS if character.has(p)):
            for bound in bounds(character, part):
                angle = known.get((bound.range.name, part))
                if angle is None:
                    continue
                if angle.why:
                    yield self.skip(
                        character,
                        f"{angle.name.replace('_', ' ')} of the {body.spoken(part)} is not measured: {angle.why}",
                    )
                    continue
                hint = "" if bound.from_card or bound.range.name in ANY_BODY else unlike
                yield from self._judge(study, character, angle, bound, known, hint)

    def _judge(
        self,
        study: Study,
        character: Character,
        angle: JointAngle,
        bound: Bound,
        known: dict[tuple[str, str], JointAngle],
        hint: str,
    ) -> Iterator[Note]:
        """Notes of one angle at one bound. hint: why the range is no more than one for this figure, or ''."""
        farthest = (np.fmax if bound.sign > 0 else np.fmin).reduce(angle.degrees, initial=np.nan)
        unsure = 0.0 if bound.from_card else UNSURE
        if not bound.sign * farthest > bound.least + unsure:
            return  # as most do: nowhere near
        value = bound.sign * angle.degrees
        limit = self._limits(study, character, angle, bound, known)
        past = value - limit
        rate = study.shot.rate
        found = beyond(past, 0.0, -CLOSES, samples(JOIN_SECONDS, rate))
        solid = held(past, samples(HELD_SECONDS, rate)) if found else past
        for first, last in found:
            worst = first + int(np.nanargmax(past[first : last + 1]))
            severity = self.limit.severity(float(solid[first : last + 1].max())) or Severity.LOW
            if past[worst] < unsure or hint and severity != Severity.HIGH:
                continue
            if hint:
                severity = Severity.LOW
            end, measured = float(limit[worst]), float(value[worst])
            frame = study.shot.frame(worst)
            yield self.note(
                study,
                character,
                angle.part,
                (first, last),
                worst,
                severity=severity,
                measured=measured,
                limit=end + self.limit.step(severity),
                source=bound.source,
                kind=bound.range.kind,
                text=_text(angle.part, bound, measured, end, frame)
                + (f"; low at most, for {hint}" if hint else ""),
                remedy=_remedy(study, angle, bound, past, (first, last), worst),
                evidence=_evidence(
                    character, angle, bound, measured, end, worst, (study.shot.frame(first), study.shot.frame(last))
                ),
                keys=keys_in(character, (angle.part,), float(study.shot.frames[first]), float(study.shot.frames[last])),
            )

    def _limits(
        self,
        study: Study,
        character: Character,
        angle: JointAngle,
        bound: Bound,
        known: dict[tuple[str, str], JointAngle],
    ) -> Array:
        """The range's end on every frame, (F,) degrees."""
        limit = np.full(len(angle.degrees), bound.most)
        if bound.from_card:
            return limit
        if bound.range.name == "wrist_tilt":
            limit[study.of(bearing_hands, character)[angle.part]] = BEARING_WRIST
        if bound.range.eased is not None:
            along, start, stop, most = bound.range.eased
            other = known.get((along, angle.part))
            if other is not None:
                share = np.clip((np.nan_to_num(other.degrees) - start) / (stop - start), 0.0, 1.0)
                limit = limit + share * (most - bound.most)
        return limit


def bounds(character: Character, part: str) -> list[Bound]:
    """The ends that are judged on this part: the table's (all for humans), moved and added to by the card.

    A card entry may name a side ('knee_flexion.L'), which stands above the one without. Its least end moves the
    opposite angle's limit ('knee_flexion' from -3 is 'knee_hyperextension' up to 3); an end left out stays as it was.
    """
    out = []
    for row in _ENDS.get(body.base(part), ()):
        least, most = _card(character, row.name, part)
        if most is None and row.opposite:
            turned = _card(character, row.opposite, part)[0]
            most = None if turned is None else -turned
        if most is not None:
            beside = f"; without a card {row.source}"
            out.append(Bound(row, 1.0, most, f"the character's card: {row.name} up to {most:g} deg{beside}", True))
        elif row.most is not None and (character.human or row.name in ANY_BODY):
            out.append(Bound(row, 1.0, row.most, row.source))
        if least is not None and not row.opposite:
            out.append(Bound(row, -1.0, -least, f"the character's card: {row.name} not under {least:g} deg", True))
    return out


def _card(character: Character, name: str, part: str) -> tuple[float | None, float | None]:
    limits = character.card.limits
    return limits.get(f"{name}.{body.side(part)}", limits.get(name, (None, None)))


def _text(part: str, bound: Bound, measured: float, end: float, frame: int) -> str:
    word = {"shin": "knee", "forearm": "elbow"}.get(body.base(part))
    who = body.spoken(part) if word is None else body.spoken(part).replace(body.base(part), word)
    if bound.sign < 0:
        return (
            f"The {who} is at {-measured:.1f} degrees of {bound.range.name.replace('_', ' ')} in frame {frame}, "
            f"{measured - end:.1f} degrees under the {-end:.0f} degrees at which its range begins"
        )
    return (
        f"The {who} {bound.range.verb} {measured:.1f} degrees in frame {frame}, "
        f"{measured - end:.1f} degrees past the {end:.0f} degrees of its range"
    )


def _tuple(v: Array) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def _remedy(study: Study, angle: JointAngle, bound: Bound, past: Array, span: tuple[int, int], worst: int) -> Turn:
    """Squeezes what lies between APPROACH inside the limit and the worst frame to end MARGIN inside the limit; a
    reversed elbow softly, so that the hand slows down into the straightest pose. A knee's foot may stand before it and
    after it, so there the way is kept short."""
    reverse = bound.range.kind == "hyperextension"
    soft = reverse and body.base(angle.part) == "forearm"
    approach, margin = (APPROACH_REVERSED, MARGIN_REVERSED) if reverse else (APPROACH, MARGIN)
    most = float(past[worst])
    if soft:
        # squeezed by its square over so long a way the angle leaves at its own speed and comes to rest at the worst
        approach = most + 2 * margin
    first, last = span
    farthest = samples(REACH_SECONDS, study.shot.rate)
    with np.errstate(invalid="ignore"):
        near = past > -approach
    while first > max(0, span[0] - farthest) and near[first - 1]:
        first -= 1
    while last < min(len(past) - 1, span[1] + farthest) and near[last + 1]:
        last += 1
    shot = study.shot
    frames = (shot.frame(first), shot.frame(last))
    at = nearest(shot.frames, np.arange(frames[0], frames[1] + 1))
    share = np.clip((np.nan_to_num(past[at], nan=-approach) + approach) / (most + approach), 0.0, 1.0)
    back = (most + margin) * (share**2 if soft else share)
    axes = bound.sign * angle.axis[at]
    axes = np.where(np.isfinite(axes), axes, bound.sign * angle.axis[worst])
    return Turn(
        angle.part,
        tuple(_tuple(a) for a in axes),
        tuple(float(-b) for b in back),
        frames,
        ease=3,
        toward=f"of {bound.range.kind}",
    )


def _evidence(
    character: Character,
    angle: JointAngle,
    bound: Bound,
    measured: float,
    end: float,
    worst: int,
    frames: tuple[int, int],
) -> list[Evidence]:
    part = angle.part
    above = body.parent(part)
    while above is not None and not character.has(above):
        above = body.parent(above)
    joint, tip = character.head(part)[worst], character.end(part)[worst]
    places: list[Any] = [joint, tip] if above is None else [character.head(above)[worst], joint, tip]
    shapes: list[Evidence] = [Polyline("found", frames, tuple(_tuple(p) for p in places))]
    axis, zero = bound.sign * angle.axis[worst], angle.zero[worst]
    if np.isfinite(axis).all() and np.isfinite(zero).all():
        radius = 0.5 * float(np.linalg.norm(tip - joint))
        for role, size in (("found", measured), ("held_against", end)):
            shapes.append(Arc(role, frames, _tuple(joint), _tuple(axis), _tuple(zero), size, radius))
    return shapes
