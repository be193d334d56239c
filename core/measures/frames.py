# SPDX-License-Identifier: GPL-3.0-or-later
"""Anatomical frames of the parts: X forward, Y up along the part (distal to proximal), Z to the body's right.

They are laid at rest from joint centers and carried by the bones, so that a bone's roll drops out:
frame now = axes now @ axes at rest^T @ frame at rest. For both sides of the body Z is to the right (ISB letters: Wu
2002, J Biomech 35:543-548; Wu 2005, 38:981-992); the signs of the left side are turned by who reads them.

The hinge of a knee or elbow is the frame's Z. It is taken, in this order, from the motion (the plane in which the limb
bends, spread under 12 degrees), from the bend at rest (over 8 degrees), or, where the limb is straight at rest, from
the foot's level direction and from "elbows bend to the front". Its sign always comes from the rest pose, so a knee
that is reversed for most of a shot still reads as reversed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .. import body
from ..need import Need
from ..numeric import rotation as rot
from ..shot import Character
from ..study import Study, measure
from .limbs import Limbs, limbs

Array = np.ndarray

BENT = np.radians(15.0)  # a frame bent more than this tells its hinge
FEWEST_BENT = 6  # and this many such frames are asked for
WIDEST_SPREAD = np.radians(12.0)
REST_BENT = np.radians(8.0)
BACKWARD = 0.8  # cosine over which an arm at rest is bent straight to the back; common practice, no source
BOTH_WAYS = 0.25  # share of the bent poses on one side from which motion does not tell a hinge's sign either
UNLIKE = 0.5  # cosine under which motion and rest hinge do not tell each other's sign

CARRIED_BY_SPLIT_BONES = ("upper_arm", "forearm", "thigh", "shin")


@dataclass(frozen=True)
class Hinge:
    """The bending axis of a two-bone limb: direction (3,) in the rest world, where it came from ('' = unknown)."""

    axis: Array
    origin: str
    why: str = ""


@dataclass(frozen=True)
class Frames:
    """World frames of the mapped parts, part -> (F, 3, 3); rest frames, part -> (3, 3); hinges, limb -> Hinge;
    right, up, forward (3,): the body's own directions at rest."""

    now: dict[str, Array]
    rest: dict[str, Array]
    hinges: dict[str, Hinge]
    right: Array
    up: Array
    forward: Array


def body_directions(character: Character) -> tuple[Array, Array, Array]:
    """The body's right, up and forward at rest, unit (3,): right along the lines of hips and shoulders, made level."""
    up = rot.unit(character.up)
    ahead = rot.unit(rot.square_to(character.forward, up))
    right = rot.cross(ahead, up)
    line = np.zeros(3)
    for part in ("thigh", "upper_arm"):
        if character.has(f"{part}.L", f"{part}.R"):
            line = line + rot.square_to(character.rest_head(f"{part}.R") - character.rest_head(f"{part}.L"), up)
    size = float(np.linalg.norm(line))
    # a figure at rest in a stride has crooked lines: then the map's own forward is the better guess
    along = float(line @ right)
    if size > 0 and abs(along) > 0.8 * size:
        right = line / size * np.sign(along)  # the other way round where a rig's names mean the viewer's sides
    return right, up, rot.cross(up, right)


def _bones(character: Character, parts: Sequence[str]) -> Array:
    """The axes (3, 3, P, F) that tell how the parts turn. Limbs' long bones are read from the copy whose twist is true
    and are NaN where there is none; other parts then take the skin's bone."""
    if character.axes_rows is None:
        raise ValueError("frames need the axes of the bones")
    rows = [character.index[part] for part in parts]
    axes = character.axes_rows[:, :, rows]
    if character.twist_rows is None or character.twist_rows is character.axes_rows:
        return axes
    true = character.twist_rows[:, :, rows]
    split = np.array([body.base(part) in CARRIED_BY_SPLIT_BONES for part in parts])
    return np.where(np.isnan(true) & ~split[:, None], axes, true)


def _rest_hinge(character: Character, limb: str, right: Array, up: Array, ahead: Array) -> Hinge:
    root, mid, end = body.LIMBS[limb]
    upper = rot.unit(character.rest_end(root) - character.rest_head(root))
    lower = rot.unit(character.rest_end(mid) - character.rest_head(mid))
    leg = limb.startswith("leg")
    normal = rot.cross(upper, lower)
    front = rot.cross(ahead, -upper)
    if rot.angle_between(upper, lower) > REST_BENT:
        # bent at rest is bent the way it goes; a leg may still be modeled backward, so there the body's right decides
        axis = -rot.unit(normal) if leg else rot.unit(normal)
        if not leg and axis @ front < -BACKWARD:
            return Hinge(-axis, "", f"the {body.spoken(mid)} is bent to the back at rest, where no elbow goes")
        return Hinge(axis if not leg or axis @ right >= 0 else -axis, "the bend at rest")
    if not leg:
        return Hinge(rot.unit(front), "the front, to which elbows bend")
    if character.has(end):
        level = rot.square_to(character.rest_end(end) - character.rest_head(end), up)
        if np.linalg.norm(level) > 0.2 * character.rest_length(end):
            axis = rot.square_to(rot.cross(rot.unit(level), -upper), upper)
            return Hinge(rot.unit(axis), "the way the foot points")
    return Hinge(
        rot.unit(rot.square_to(right, upper)),
        "",
        f"the {body.spoken(root)} is straight at rest, has no foot to show the front, and never bends over 15 deg",
    )


def _hinge(limb: str, rest: Hinge, bone: Array, at_rest: Array, normals: Array, bend: Array) -> Hinge:
    """The hinge from motion where the motion shows it, else ``rest``. bone (F, 3, 3), at_rest (3, 3): axes of the upper
    bone; normals (F, 3) of the plane of the two bones, as long as the sine of their bend (F,)."""
    root, _, _ = body.LIMBS[limb]
    with np.errstate(invalid="ignore"):
        used = np.flatnonzero(bend > BENT)
    used = rot.seen_from(bone[used], normals[used]) @ at_rest.T
    used = used[np.isfinite(used).all(axis=-1)]
    if len(used) >= FEWEST_BENT:
        values, vectors = np.linalg.eigh(used.T @ used)
        spread = np.arcsin(np.sqrt(np.clip(1.0 - values[2] / values.sum(), 0.0, 1.0)))
        if spread < WIDEST_SPREAD:
            axis = vectors[:, 2]
            agree = float(axis @ rest.axis)
            if abs(agree) < UNLIKE or not rest.origin:
                # the rest pose cannot tell the sign: joints bend the right way most of the time
                side = (used @ axis) * (-1.0 if limb.startswith("leg") else 1.0)
                new = np.append(True, np.abs(np.diff(side)) > 1e-3)  # a pose that is held counts once
                if not rest.origin and min((side[new] > 0).mean(), (side[new] < 0).mean()) > BOTH_WAYS:
                    return Hinge(rest.axis, "", f"{rest.why}, and it bends both ways in the shot")
                agree = float(side.mean())
            return Hinge(axis if agree >= 0 else -axis, "the motion")
    if not np.isfinite(bone).all():
        return Hinge(
            rest.axis, "", f"no copy of the {body.spoken(root)} keeps its twist, and its motion shows no hinge"
        )
    return rest


@measure(Need.JOINTS | Need.ROTATIONS, uses=(limbs,))
def frames(study: Study, character: Character) -> Frames:
    """The world frames of all mapped parts that the joint angles stand on."""
    right, up, ahead = body_directions(character)
    hinges: dict[str, Hinge] = {}
    known: Limbs = study.of(limbs, character)
    parts = [p for limb in known.names for p in body.LIMBS[limb] if character.has(p)]
    parts += [p for p in body.CENTRE if character.has(p)]
    bones = _bones(character, parts).transpose(2, 0, 1, 3)
    with np.errstate(invalid="ignore", divide="ignore"):
        normals = known.normal / (known.upper * known.lower)[..., None]
    sides: dict[str, tuple[Array, Array]] = dict.fromkeys(parts, (right, up))
    for limb, normal, bend in zip(known.names, normals, known.bend, strict=True):
        root, mid, end = body.LIMBS[limb]
        guess = _rest_hinge(character, limb, right, up, ahead)
        bone, at_rest = bones[parts.index(root)].transpose(2, 0, 1), character.rest_axes[character.index[root]]
        hinge = hinges[limb] = _hinge(limb, guess, bone, at_rest, normal, bend)
        for part in (root, mid):
            sides[part] = hinge.axis, character.rest_head(part) - character.rest_end(part)
        if character.has(end):
            sides[end] = _end_lines(character, limb, hinge, up, right)
    laid = rot.frame(*(np.array([sides[part][k] for part in parts]).reshape(-1, 3) for k in (0, 1)))
    at_rest = character.rest_axes[[character.index[part] for part in parts]]
    carry = (at_rest.swapaxes(1, 2) @ laid).swapaxes(1, 2)
    # frame by frame axes @ carry; frames stay last in memory
    now = np.matmul(carry[:, None], bones).transpose(0, 3, 1, 2)
    return Frames(dict(zip(parts, now, strict=True)), dict(zip(parts, laid, strict=True)), hinges, right, up, ahead)


def _end_lines(character: Character, limb: str, hinge: Hinge, up: Array, right: Array) -> tuple[Array, Array]:
    """The right and up that lay the frame of a limb's end. Foot: Y up at rest and X its level direction, so zero is a
    flat sole under an upright shin whatever the heights of ankle and toe joints. Hand: Y from knuckles to wrist, or
    along the forearm where the bone points elsewhere."""
    _, mid, end = body.LIMBS[limb]
    along = character.rest_end(end) - character.rest_head(end)
    if limb.startswith("leg"):
        level = rot.square_to(along, up)
        if np.linalg.norm(level) < 0.2 * np.linalg.norm(along):
            return right, up
        return rot.cross(rot.unit(level), up), up
    lower = character.rest_end(mid) - character.rest_head(mid)
    straight = rot.angle_between(along, lower) > np.radians(20.0)
    return hinge.axis, -lower if straight else -along
