# SPDX-License-Identifier: GPL-3.0-or-later
"""Joint angles of a body, in degrees, as animators name them, read from the anatomical frames.

Hip and ankle, trunk and neck are intrinsic Z-X-Y angles of the distal frame in the proximal one (flexion, abduction,
rotation; Grood and Suntay 1983, J Biomech Eng 105:136-144, in the ISB's frames). Knee and elbow are the direction of
the distal bone in the plane of the hinge, so their sign holds without any twist. The wrist is the plain angle between
forearm and hand, free of pronation; its flexion and deviation would need the palm, which a body map does not tell.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .. import body
from ..need import Need
from ..numeric import rotation as rot
from ..shot import Character
from ..study import Study, measure
from .frames import Frames, frames

Array = np.ndarray


NEAR_GIMBAL = np.radians(75.0)


@dataclass(frozen=True)
class JointAngle:
    """One angle of one joint, frame by frame.

    name as in tables.joint_ranges; part: the part that turns ('shin.L'). degrees (F,): NaN where unknown, ``why`` then
    says in one clause. lines: what works out axis and zero, which only notes ask for.
    """

    name: str
    part: str
    degrees: Array
    lines: Callable[[], tuple[Array, Array]]
    why: str = ""

    @cached_property
    def _drawn(self) -> tuple[Array, Array]:
        return self.lines()

    @property
    def axis(self) -> Array:
        """(F, 3): world axis through the part's joint, about which turning the part by +1 degree raises the angle by 1
        degree (exactly for hinges and directions, near its middle for the rest)."""
        return self._drawn[0]

    @property
    def zero(self) -> Array:
        """(F, 3): the world direction from which the angle is drawn."""
        return self._drawn[1]

    def opposite(self, name: str) -> "JointAngle":
        """The same angle counted the other way."""
        return JointAngle(name, self.part, -self.degrees, lambda: (-self.axis, self.zero), self.why)


def _hinge_angles(character: Character, limb: str, known: Frames) -> list[JointAngle]:
    root, mid, _ = body.LIMBS[limb]
    leg = limb.startswith("leg")
    frame = known.now[root]
    if not np.isfinite(frame).all():
        # no twist of its own: the hinge seen in the lower bone is the same hinge
        frame = rot.frame(known.now[mid][..., 2], character.head(root) - character.end(root))
    flexes = -1.0 if leg else 1.0
    distal = rot.seen_from(frame, character.end(mid) - character.head(mid))
    degrees = np.degrees(np.arctan2(flexes * distal[..., 0], -distal[..., 1]))
    # past 180 a folded limb must not read as a reversed one: -90 .. 270
    degrees = np.where(degrees < -90.0, degrees + 360.0, degrees)
    hinge = known.hinges[limb]
    why = hinge.why if not hinge.origin else ""
    joint = "knee" if leg else "elbow"

    def lines() -> tuple[Array, Array]:
        return flexes * frame[..., 2], -frame[..., 1]

    flexion = JointAngle(f"{joint}_flexion", mid, degrees, lines)
    if why:
        # the plain bend needs no hinge; which side of straight it is on does
        bend = np.degrees(
            rot.angle_between(character.end(root) - character.head(root), character.end(mid) - character.head(mid))
        )
        flexion = replace(flexion, degrees=bend)
    over = replace(flexion.opposite(f"{joint}_hyperextension"), degrees=-degrees, why=why)
    return [flexion, replace(over, degrees=np.full(len(degrees), np.nan)) if why else over]


def _ball(parent: Array, child: Array) -> tuple[Array, Array, Array]:
    """Z-X-Y angles in degrees of child in parent, (F,) each: about the parent's Z, the side between (``_in_plane`` of
    the first angle) and the child's Y."""
    a, b, c = np.degrees(rot.zxy(rot.relative(parent, child)))
    return a, b, c


def _in_plane(frame: Array, angle: Array) -> Array:
    """The frame's X axis (F, 3) turned about its Z by an angle (F,)."""
    return np.asarray(frame[..., 0] * np.cos(angle)[..., None] + frame[..., 1] * np.sin(angle)[..., None])


def _steady(first: Array, middle: Array) -> Array:
    """The first of three angles (F,), radians, carried evenly over the frames on which the middle one is beyond
    NEAR_GIMBAL: there, a leg spread to the side, it swings through any value and says nothing."""
    sure = np.isfinite(first) & (np.abs(middle) < NEAR_GIMBAL)
    if not sure.any() or sure.all():
        return first
    every = np.arange(len(first))
    carried = np.interp(every, every[sure], np.unwrap(first[sure]))
    return np.asarray(np.where(np.isfinite(first), np.where(sure, first, carried), np.nan))


def _lies_left(character: Character, part: str, known: Frames) -> bool:
    """Whether the part lies to the body's left at rest: some rigs call left what lies left in the picture."""
    other = body.mirror(part)
    middle = character.rest_head(other if character.has(other) else "pelvis")
    away = float((middle - character.rest_head(part)) @ known.right)
    return away > 0 if away else body.side(part) == "L"


def _hip(character: Character, s: str, known: Frames) -> list[JointAngle]:
    thigh = f"thigh.{s}"
    pelvis, limb = known.now["pelvis"], known.now[thigh]
    outward = 1.0 if _lies_left(character, thigh, known) else -1.0
    # flexion and abduction come from the thigh's line alone, so a split or twisted thigh bone reads as well
    y = rot.seen_from(pelvis, rot.unit(character.head(thigh) - character.end(thigh)))
    a = _steady(np.arctan2(-y[..., 0], y[..., 1]), np.arcsin(np.clip(y[..., 2], -1.0, 1.0)))
    # the same as asin of the side part wherever a is the flexion itself; goes on past 90 degrees where a is carried
    b = np.arctan2(y[..., 2], y[..., 1] * np.cos(a) - y[..., 0] * np.sin(a))
    flexion = JointAngle("hip_flexion", thigh, np.degrees(a), lambda: (pelvis[..., 2], -pelvis[..., 1]))
    spread = JointAngle(
        "hip_abduction",
        thigh,
        outward * np.degrees(b),
        lambda: (outward * _in_plane(pelvis, a), _in_plane(pelvis, a - np.pi / 2)),
    )
    out = [flexion, flexion.opposite("hip_extension"), spread, spread.opposite("hip_adduction")]
    hinge = known.hinges.get(f"leg.{s}")
    c = np.degrees(rot.zxy(rot.relative(pelvis, limb))[2])
    why = (
        ""
        if hinge is not None and hinge.origin in ("the motion", "the bend at rest")
        else f"the {body.spoken(thigh)} is straight at rest and never bends over 15 deg, so its roll is not known"
    )
    roll = JointAngle(
        "hip_internal_rotation",
        thigh,
        np.full(len(c), np.nan) if why else -outward * c,
        lambda: (-outward * limb[..., 1], limb[..., 0]),
        why,
    )
    return [*out, roll, roll.opposite("hip_external_rotation")]


def _ankle(character: Character, s: str, known: Frames) -> list[JointAngle]:
    shin, foot = known.now[f"shin.{s}"], known.now[f"foot.{s}"]
    if not np.isfinite(shin).all():
        # without its twist the shin still has its line; the foot's own right is near enough its hinge
        shin = rot.frame(foot[..., 2], character.head(f"shin.{s}") - character.end(f"shin.{s}"))
    up = JointAngle("ankle_dorsiflexion", f"foot.{s}", _ball(shin, foot)[0], lambda: (shin[..., 2], shin[..., 0]))
    return [up, up.opposite("ankle_plantarflexion")]


def _shoulder(character: Character, s: str, known: Frames) -> list[JointAngle]:
    part = f"upper_arm.{s}"
    chest = known.now["chest"]
    arm = rot.unit(character.end(part) - character.head(part))
    back = -chest[..., 0]
    behind = np.degrees(np.arcsin(np.clip(rot.dot(arm, back), -1.0, 1.0)))
    down = -chest[..., 1]
    raised = np.degrees(rot.angle_between(down, arm))
    return [
        JointAngle(
            "arm_behind",
            part,
            behind,
            lambda: (rot.unit(rot.cross(arm, back)), rot.unit(rot.square_to(arm, back))),
        ),
        JointAngle("arm_elevation", part, raised, lambda: (rot.unit(rot.cross(down, arm)), down)),
    ]


def _wrist(character: Character, s: str, known: Frames) -> list[JointAngle]:
    hand = -known.now[f"hand.{s}"][..., 1]
    forearm = rot.unit(character.end(f"forearm.{s}") - character.head(f"forearm.{s}"))
    return [
        JointAngle(
            "wrist_tilt",
            f"hand.{s}",
            np.degrees(rot.angle_between(forearm, hand)),
            lambda: (rot.unit(rot.cross(forearm, hand)), forearm),
        )
    ]


def _neck(known: Frames) -> list[JointAngle]:
    chest, head = known.now["chest"], known.now["head"]
    c = _ball(chest, head)[2]
    straight, line = chest[..., 1], head[..., 1]
    tilt = np.degrees(rot.angle_between(straight, line))
    return [
        JointAngle("neck_tilt", "head", tilt, lambda: (rot.unit(rot.cross(straight, line)), straight)),
        JointAngle("neck_rotation", "head", np.abs(c), lambda: (_way(c) * line, chest[..., 0])),
    ]


def _way(angle: Array) -> Array:
    """(F, 1): the sign by which an angle (F,) is counted up from zero."""
    return np.where(angle < 0, -1.0, 1.0)[:, None]


def _trunk(known: Frames) -> list[JointAngle]:
    pelvis, chest = known.now["pelvis"], known.now["chest"]
    a, b, c = _ball(pelvis, chest)
    straight = pelvis[..., 1]
    back = JointAngle("trunk_back", "chest", a, lambda: (pelvis[..., 2], straight))
    return [
        back,
        back.opposite("trunk_forward"),
        JointAngle(
            "trunk_side", "chest", np.abs(b), lambda: (_way(b) * _in_plane(pelvis, np.radians(a)), straight)
        ),
        JointAngle("trunk_rotation", "chest", np.abs(c), lambda: (_way(c) * chest[..., 1], pelvis[..., 0])),
    ]


@measure(Need.JOINTS | Need.ROTATIONS, uses=(frames,))
def angles(study: Study, character: Character) -> dict[tuple[str, str], JointAngle]:
    """All joint angles of the character: (name, part) -> JointAngle."""
    known: Frames = study.of(frames, character)
    found: list[JointAngle] = []
    for s in body.SIDES:
        for limb in (f"leg.{s}", f"arm.{s}"):
            if character.has(*body.LIMBS[limb][:2]):
                found += _hinge_angles(character, limb, known)
        for parts, read in (
            ((f"thigh.{s}", f"shin.{s}", "pelvis"), _hip),
            ((f"shin.{s}", f"thigh.{s}", f"foot.{s}"), _ankle),
            ((f"upper_arm.{s}", f"forearm.{s}", "chest"), _shoulder),
            ((f"forearm.{s}", f"upper_arm.{s}", f"hand.{s}"), _wrist),
        ):
            if character.has(*parts):
                found += read(character, s, known)
    if character.has("chest", "head"):
        found += _neck(known)
    if character.has("pelvis", "chest"):
        found += _trunk(known)
    return {(a.name, a.part): a for a in found}
