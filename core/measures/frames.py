# SPDX-License-Identifier: GPL-3.0-or-later
"""Anatomical frames of the parts: X forward, Y up along the part (distal to proximal), Z to the body's right.

They are laid at rest from joint centres and carried by the bones, so that a bone's roll drops out:
frame now = axes now @ axes at rest^T @ frame at rest. For both sides of the body Z is to the right (ISB letters: Wu
2002, J Biomech 35:543-548; Wu 2005, 38:981-992); the signs of the left side are turned by who reads them.

The hinge of a knee or elbow is the frame's Z. It is taken, in this order, from the motion (the plane in which the limb
bends, spread under 12 degrees), from the bend at rest (over 8 degrees), or, where the limb is straight at rest, from
the foot's level direction and from "elbows bend to the front". Its sign always comes from the rest pose, so a knee
that is reversed for most of a shot still reads as reversed.
"""

from dataclasses import dataclass

import numpy as np

from .. import body
from ..need import Need
from ..numeric import rotation as rot
from ..shot import Character
from ..study import Study, measure

Array = np.ndarray

BENT = np.radians(15.0)  # a frame bent more than this tells its hinge
FEWEST_BENT = 6  # and this many such frames are asked for
WIDEST_SPREAD = np.radians(12.0)
REST_BENT = np.radians(8.0)
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
    if size > 0 and float(line @ right) > 0.8 * size:
        right = line / size
    return right, up, rot.cross(up, right)


def carried(character: Character, part: str) -> Array:
    """How far the part has turned from rest, (F, 3, 3). Limbs' long bones are read from the copy whose twist is true
    and are NaN where there is none; other parts then take the skin's bone."""
    return times(_bone_axes(character, part), character.rest_axes[character.index[part]].T)


def _bone_axes(character: Character, part: str) -> Array:
    """The axes (F, 3, 3) that tell the part's turn, NaN where none does."""
    i = character.index[part]
    if character.axes is None:
        raise ValueError("frames need the axes of the bones")
    axes = character.axes[:, i]
    if character.twist_axes is not None:
        true = character.twist_axes[:, i]
        if body.base(part) in CARRIED_BY_SPLIT_BONES:
            axes = true
        else:
            axes = np.where(np.isnan(true), axes, true)
    return axes


def times(stack: Array, matrix: Array) -> Array:
    """stack (F, 3, 3) @ matrix (3, 3): one product of (3 F, 3) costs a tenth of F small ones."""
    return np.asarray((stack.reshape(-1, 3) @ matrix).reshape(stack.shape))


def _rest_hinge(character: Character, limb: str, right: Array, up: Array, ahead: Array) -> Hinge:
    root, mid, end = body.LIMBS[limb]
    upper = rot.unit(character.rest_end(root) - character.rest_head(root))
    lower = rot.unit(character.rest_end(mid) - character.rest_head(mid))
    leg = limb.startswith("leg")
    normal = rot.cross(upper, lower)
    if rot.angle_between(upper, lower) > REST_BENT:
        # bent at rest is bent the way it goes; a leg may still be modelled backward, so there the body's right decides
        axis = -rot.unit(normal) if leg else rot.unit(normal)
        return Hinge(axis if not leg or axis @ right >= 0 else -axis, "the bend at rest")
    if not leg:
        return Hinge(rot.unit(rot.cross(ahead, -upper)), "the front, to which elbows bend")
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


def _hinge(character: Character, limb: str, rest: Hinge) -> Hinge:
    """The hinge from motion where the motion shows it, else ``rest``."""
    root, mid, _ = body.LIMBS[limb]
    turn = carried(character, root)
    upper = rot.unit(character.end(root) - character.head(root))
    lower = rot.unit(character.end(mid) - character.head(mid))
    normals = rot.seen_from(turn, rot.cross(upper, lower))
    bend = rot.angle_between(upper, lower)
    with np.errstate(invalid="ignore"):
        used = normals[(bend > BENT) & np.isfinite(normals).all(axis=-1)]
    if len(used) >= FEWEST_BENT:
        values, vectors = np.linalg.eigh(used.T @ used)
        spread = np.arcsin(np.sqrt(np.clip(1.0 - values[2] / values.sum(), 0.0, 1.0)))
        if spread < WIDEST_SPREAD:
            axis = vectors[:, 2]
            agree = float(axis @ rest.axis)
            if abs(agree) < UNLIKE or not rest.origin:
                # the rest pose cannot tell the sign: joints bend the right way most of the time
                mean = used.mean(axis=0) * (-1.0 if limb.startswith("leg") else 1.0)
                agree = float(axis @ mean)
            return Hinge(axis if agree >= 0 else -axis, "the motion")
    if not np.isfinite(turn).all():
        return Hinge(
            rest.axis, "", f"no copy of the {body.spoken(root)} keeps its twist, and its motion shows no hinge"
        )
    return rest


@measure(Need.JOINTS | Need.ROTATIONS)
def frames(study: Study, character: Character) -> Frames:
    """The world frames of all mapped parts that the joint angles stand on."""
    right, up, ahead = body_directions(character)
    rest: dict[str, Array] = {}
    hinges: dict[str, Hinge] = {}
    for limb, (root, mid, end) in body.LIMBS.items():
        if not character.has(root, mid):
            continue
        hinge = hinges[limb] = _hinge(character, limb, _rest_hinge(character, limb, right, up, ahead))
        for part in (root, mid):
            rest[part] = rot.frame(hinge.axis, character.rest_head(part) - character.rest_end(part))
        if character.has(end):
            rest[end] = _end_frame(character, limb, hinge, up, right)
    for part in body.CENTRE:
        if character.has(part):
            rest[part] = rot.frame(right, up)
    now = {
        part: times(_bone_axes(character, part), character.rest_axes[character.index[part]].T @ frame)
        for part, frame in rest.items()
    }
    return Frames(now, rest, hinges, right, up, ahead)


def _end_frame(character: Character, limb: str, hinge: Hinge, up: Array, right: Array) -> Array:
    """Foot: Y up at rest and X its level direction, so zero is a flat sole under an upright shin whatever the heights
    of ankle and toe joints. Hand: Y from knuckles to wrist, or along the forearm where the bone points elsewhere."""
    _, mid, end = body.LIMBS[limb]
    along = character.rest_end(end) - character.rest_head(end)
    if limb.startswith("leg"):
        level = rot.square_to(along, up)
        if np.linalg.norm(level) < 0.2 * np.linalg.norm(along):
            return rot.frame(right, up)
        return rot.frame(rot.cross(rot.unit(level), up), up)
    lower = character.rest_end(mid) - character.rest_head(mid)
    straight = rot.angle_between(along, lower) > np.radians(20.0)
    return rot.frame(hinge.axis, -lower if straight else -along)
