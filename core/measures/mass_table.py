# SPDX-License-Identifier: GPL-3.0-or-later
"""A published body, cut to a figure's measure: where each segment's mass lies, and which bone carries it.

The table's endpoints are looked for among the figure's joints at rest. What a rig lacks is filled in by rule:

- the three pieces of the trunk ride on pelvis, spine and chest; the middle one on the bone whose joint lies next below
  it, so that a figure with one spine bone, or with none, bends where its rig does;
- clavicles and toes carry nothing of their own: the tables count shoulders with the trunk and toes with the foot;
- without a neck, C7 is found over the hips and shoulders; without arms, the neck's or the head's joint is C7; without a
  head the neck or the trunk carries one;
- a missing hand or foot hangs on at the end of its forearm or shin, a missing forearm or shin is the half of what is
  between its neighbors, and a limb of one bone is a whole straight limb;
- hands and feet that float without a limb keep their own mass, and of what is not there at all none is there either.
"""

import math
from dataclasses import dataclass

import numpy as np

from .. import body
from ..shot import SOLE_POINTS, Character
from ..tables.segments import BodyTable, Segment
from .sole import FOOT_PER_LEG, sole_of

Array = np.ndarray

#: Guesses for what a rig does not tell, all from memory of an average adult: wrist to fingertip over the forearm; C7 to
#: vertex over standing height; where elbow, wrist and knee, ankle lie along a limb of one bone.
HAND_PER_FOREARM = 0.70
HEAD_PER_HEIGHT = 0.17
ALONG = {"arm": (0.38, 0.74), "leg": (0.45, 0.91)}
#: A hand bone that is shorter than this much of the forearm ends at the knuckles (about 0.32), a longer one at the
#: fingertip; one outside both ends tells nothing.
STUB, KNUCKLES, LONG = 0.15, 0.47, 1.2
#: A head bone tells the vertex if it is at least this long, of height.
HEAD_TELLS = 0.06
#: The foot's line from heel to toe runs over the sole by this much of the ankle's height. From memory.
FLESH = 0.35


@dataclass(frozen=True)
class Piece:
    """One segment at rest. part: what it is of; carrier: the part whose bone carries it; share of the body's mass;
    place (3,): its center of mass, rest world m; moments (3, 3): second moments about that over its mass, m2, in the
    rest world: the integral of x x^T dm / m. between: its center is this share of the way from the carrier's joint to
    the next part's joint, as (next part, share); None where it is rigid on the carrier.
    """

    part: str
    carrier: str
    share: float
    place: Array
    moments: Array
    between: tuple[str, float] | None = None


def pieces_of(character: Character, table: BodyTable) -> list[Piece]:
    """The figure's segments by a table, in the order of body.PARTS; empty where there is no trunk to hang them on."""
    trunk = [p for p in ("pelvis", "spine", "chest") if character.has(p)]
    if not trunk:
        return []
    hips, c7 = _trunk_line(character, table)
    found = [*_trunk(character, table, trunk, hips, c7), *_head(character, table, c7)]
    for side in body.SIDES:
        found += _arm(character, table, side)
        found += _leg(character, table, side)
    return sorted(found, key=lambda piece: body.PARTS.index(piece.part))


def moments_of(segment: Segment, span: Array, ahead: Array | None) -> Array:
    """Second moments over mass (3, 3) m2 of a segment that spans (3,) m, its front facing ``ahead`` (3,); round where
    that is None."""
    length = math.sqrt(float(span @ span))
    sagittal, transverse, along = ((radius * length) ** 2 for radius in segment.gyration)
    if ahead is None:
        sagittal = transverse = (sagittal + transverse) / 2
    axis = span / length if length > 1e-9 else np.array([0.0, 0.0, 1.0])
    # radii are about an axis, moments along it: a rod is long along the axis that it turns about with least inertia
    half = (sagittal + transverse + along) / 2
    front, aside, long = (max(half - radius, 0.0) for radius in (sagittal, transverse, along))
    out = aside * np.eye(3) + (long - aside) * (axis[:, None] * axis)
    if ahead is not None:
        facing = _square(axis, ahead)
        if facing @ facing < 1e-6:  # it faces along itself: any direction square to the axis will do
            facing = _square(axis, np.eye(3)[np.argmin(np.abs(axis))])
        out += (front - aside) / float(facing @ facing) * (facing[:, None] * facing)
    return np.asarray(out)


def _square(axis: Array, direction: Array) -> Array:
    return np.asarray(direction - direction @ axis * axis)


# ---- trunk and head ----------------------------------------------------------------------------------------


def _middle(character: Character, part: str) -> Array | None:
    """Halfway between the left and the right joint at which the part begins."""
    pair = [f"{part}.{s}" for s in body.SIDES]
    return (character.rest_head(pair[0]) + character.rest_head(pair[1])) / 2 if character.has(*pair) else None


def _trunk_line(character: Character, table: BodyTable) -> tuple[Array, Array]:
    """The middle of the hips and C7, rest world m."""
    first = next(p for p in ("pelvis", "spine", "chest") if character.has(p))
    last = next(p for p in ("chest", "spine", "pelvis") if character.has(p))
    hips, shoulders = _middle(character, "thigh"), _middle(character, "upper_arm")
    base = character.rest_head(first) if hips is None else hips
    if shoulders is not None:
        return base, base + table.c7 * (shoulders - base)
    above = next((p for p in ("neck", "head") if character.has(p)), None)
    return base, character.rest_head(above) if above else character.rest_end(last)


def _trunk(character: Character, table: BodyTable, trunk: list[str], hips: Array, c7: Array) -> list[Piece]:
    line = hips - c7
    out = []
    start = 0.0
    for name, length in zip(("upper_trunk", "middle_trunk", "lower_trunk"), table.trunk, strict=True):
        segment = table.segments[name]
        place = c7 + (start + segment.center * length) * line
        start += length
        if name == "middle_trunk":
            carrier = _next_below(character, trunk, place, line)
        else:
            carrier = trunk[-1] if name == "upper_trunk" else trunk[0]
        part = {"upper_trunk": "chest", "middle_trunk": "spine", "lower_trunk": "pelvis"}[name]
        moments = moments_of(segment, length * line, character.forward)
        out.append(Piece(part, carrier, segment.share, place, moments))
    return out


def _next_below(character: Character, trunk: list[str], place: Array, line: Array) -> str:
    """The trunk part whose joint is the next below a place, along the line from C7 down to the hips."""
    below = [p for p in trunk[1:] if (character.rest_head(p) - place) @ line >= 0]
    return below[-1] if below else trunk[0]


def _head(character: Character, table: BodyTable, c7: Array) -> list[Piece]:
    carrier = next(p for p in ("head", "neck", "chest", "spine", "pelvis") if character.has(p))
    base = character.rest_head("neck") if character.has("neck") else c7
    span = character.rest_end(carrier) - base
    length = float(np.linalg.norm(span))
    # a head bone may be a stub, or look ahead
    if carrier != "head" or length < HEAD_TELLS * character.height or span @ character.up < 0.5 * length:
        span = HEAD_PER_HEIGHT * (character.height or character.leg_length / 0.47) * character.up
    segment = table.segments["head"]
    place = base + (1 - segment.center) * span
    return [Piece("head", carrier, segment.share, place, moments_of(segment, span, character.forward))]


# ---- limbs -------------------------------------------------------------------------------------------------


def _joints(character: Character, limb: tuple[str, str, str], along: tuple[float, float]) -> list[Array] | None:
    """Root, middle and end joint of a limb, those that the rig lacks filled in; None where it lacks the root."""
    root, middle, end = limb
    if not character.has(root):
        return None
    start = character.rest_head(root)
    if character.has(middle):
        knee = character.rest_head(middle)
        return [start, knee, character.rest_head(end) if character.has(end) else character.rest_end(middle)]
    if character.has(end):
        last = character.rest_head(end)
        return [start, (start + last) / 2, last]
    whole = character.rest_end(root) - start
    return [start, start + along[0] * whole, start + along[1] * whole]


def _long(character: Character, table: BodyTable, limb: tuple[str, str, str], joints: list[Array],
          ahead: Array | None) -> list[Piece]:
    """The two long segments of a limb. Where both of its joints are the rig's own, the center keeps its share of the
    way between them, so that a limb that stretches takes its mass along."""
    out = []
    for k, part in enumerate(limb[:2]):
        segment = table.segments[body.base(part)]
        carrier = part if character.has(part) else limb[0]
        a, b = joints[k], joints[k + 1]
        moments = moments_of(segment, b - a, ahead)
        between = (limb[k + 1], segment.center) if character.has(part, limb[k + 1]) else None
        out.append(Piece(part, carrier, segment.share, a + segment.center * (b - a), moments, between))
    return out


def _arm(character: Character, table: BodyTable, side: str) -> list[Piece]:
    limb = (f"upper_arm.{side}", f"forearm.{side}", f"hand.{side}")
    segment = table.segments["hand"]
    joints = _joints(character, limb, ALONG["arm"])
    if joints is None:
        if not character.has(limb[2]):
            return []
        wrist, span = character.rest_head(limb[2]), character.rest_end(limb[2]) - character.rest_head(limb[2])
        moments = moments_of(segment, span, None)
        return [Piece(limb[2], limb[2], segment.share, wrist + segment.center * span, moments)]
    carrier = next(p for p in reversed(limb) if character.has(p))
    center, span = _hand(character, table, limb, joints)
    hand = Piece(limb[2], carrier, segment.share, center, moments_of(segment, span, None))
    return [*_long(character, table, limb, joints, None), hand]


def _hand(character: Character, table: BodyTable, limb: tuple[str, str, str],
          joints: list[Array]) -> tuple[Array, Array]:
    """The hand's center and its span from wrist to fingertip."""
    _, elbow, wrist = joints
    segment = table.segments["hand"]
    forearm = wrist - elbow
    if character.has(limb[2]):
        bone = character.rest_end(limb[2]) - wrist
        share = float(np.linalg.norm(bone)) / max(float(np.linalg.norm(forearm)), 1e-9)
        if STUB < share < KNUCKLES:
            center = table.knuckle * bone
            return wrist + center, center / segment.center
        if KNUCKLES <= share < LONG:
            return wrist + segment.center * bone, bone
    if not character.has(limb[1]) and not character.has(limb[2]):  # one bone is the whole arm, its hand included
        span = character.rest_end(limb[0]) - wrist
    else:
        span = HAND_PER_FOREARM * forearm
    return wrist + segment.center * span, span


def _leg(character: Character, table: BodyTable, side: str) -> list[Piece]:
    limb = (f"thigh.{side}", f"shin.{side}", f"foot.{side}")
    joints = _joints(character, limb, ALONG["leg"])
    carrier = next((p for p in reversed(limb) if character.has(p)), None)
    if joints is None and carrier != limb[2]:
        return []
    segment = table.segments["foot"]
    start, span = _foot(character, table, side, joints[2] if joints else character.rest_head(limb[2]))
    place = start + segment.center * span
    foot = Piece(limb[2], carrier or limb[2], segment.share, place, moments_of(segment, span, None))
    return [*(_long(character, table, limb, joints, character.forward) if joints else []), foot]


def _foot(character: Character, table: BodyTable, side: str, ankle: Array) -> tuple[Array, Array]:
    """Where the foot's line begins and its span, rest world m: from heel to toe tip, or from ankle to ball."""
    if not character.has(f"foot.{side}"):
        ahead = character.forward * FOOT_PER_LEG * character.leg_length
        return ankle - 0.25 * ahead, ahead  # the heel lies behind the ankle by about a quarter: from memory
    points = dict(zip(SOLE_POINTS, sole_of(character, side).points, strict=True))
    if table.ankle_to_ball:
        return ankle, points["ball"] - ankle
    over = FLESH * max(float((ankle - points["heel"]) @ character.up), 0.0) * character.up
    return points["heel"] + over, points["toe_tip"] - points["heel"]
