# SPDX-License-Identifier: GPL-3.0-or-later
"""Fingerprints of what a result hangs on, to tell after an undo whether anything that is measured has changed.

Blender flags the same things when a click is undone as when an edit is: so what they hold is looked at. What is only
seen (selection, visibility of bones, the active object) is left out, and so are the characters' cards, which
``session.see_cards`` holds against each other by themselves.
"""

import hashlib
import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import bpy
import numpy as np

from .compat import curves_of
from .sampling.kept_cards import CARD_PROPERTY

#: Values that one step reads, of those that a scene may have many of.
_AT_ONCE = 60_000

_PLAIN = {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}
#: Properties of constraints and modifiers that are only for the eye, or computed.
_SEEN_ONLY = {"show_expanded", "active", "is_active", "is_valid", "error_location", "error_rotation", "execution_time"}


def of_pose(scene: Any) -> bytes:
    """Everything that the shown frame may have changed: places, poses, constraints, modifiers, custom properties,
    lenses. Equal on the same frame of the same motion."""
    digest = fresh()
    for _ in add_poses(digest, scene):
        pass
    return bytes(digest.digest())


def add_poses(digest: Any, scene: Any) -> Iterator[None]:
    """Adds what ``of_pose`` tells, an object in each step."""
    digest.update(repr((scene.frame_current, scene.frame_subframe)).encode())
    for object in list(scene.objects):
        digest.update(repr(_of_object(object)).encode("utf-8", "surrogatepass"))
        if object.pose is not None:
            bones = object.pose.bones
            for name, size in (("location", 3), ("rotation_quaternion", 4), ("rotation_euler", 3), ("scale", 3)):
                digest.update(_many(bones, name, size))
            for bone in bones:
                own = (bone.rotation_mode, tuple(bone.rotation_axis_angle), _custom(bone), _stack(bone.constraints))
                digest.update(repr(own).encode("utf-8", "surrogatepass"))
        yield


def of_unkeyed(scene: Any) -> bytes:
    """Everything that no key and no driver moves: equal on every frame until somebody edits more than keys."""
    digest = fresh()
    for _ in add_unkeyed(digest, scene):
        pass
    return bytes(digest.digest())


def add_unkeyed(digest: Any, scene: Any) -> Iterator[None]:
    """Adds what ``of_unkeyed`` tells, an object in each step."""
    for object in list(scene.objects):
        moved = _moved(object)
        place, *others, constraints, modifiers = _placed(object)
        others += [] if moved & _PLACES else [place]
        others += [] if any(path.startswith("constraints") for path in moved) else [constraints]
        others += [] if any(path.startswith("modifiers") for path in moved) else [modifiers]
        digest.update(repr(others).encode("utf-8", "surrogatepass"))
        digest.update(repr([(k, v) for k, v in _custom(object) if f'["{k}"]' not in moved]).encode("utf-8", "replace"))
        if object.pose is not None:
            digest.update(_unkeyed_pose(object, moved))
        if getattr(object.data, "animation_data", None) is None and object.type == "ARMATURE":
            digest.update(object.data.pose_position.encode() + _many(object.data.bones, "matrix_local", 16))
        yield


_PLACES = {"location", "rotation_euler", "rotation_quaternion", "rotation_axis_angle", "scale"}
_OF_BONE = re.compile(r'pose\.bones\["((?:[^"\\]|\\.)*)"\]\.?(\w*)')


def _moved(object: Any) -> set[str]:
    """The paths that keys or drivers of this object move."""
    data = object.animation_data
    driven = {driver.data_path for driver in data.drivers} if data is not None else set()
    return {curve.data_path for curve, _ in curves_of(object)} | driven


def _unkeyed_pose(object: Any, moved: set[str]) -> bytes:
    """A pose's values and constraints, without those that are moved."""
    bones = object.pose.bones
    order = {bone.name: i for i, bone in enumerate(bones)}
    taken: dict[str, set[int]] = {}
    for match in (m for m in map(_OF_BONE.match, moved) if m):
        i = order.get(re.sub(r"\\(.)", r"\1", match.group(1)))
        if i is not None:
            taken.setdefault(match.group(2), set()).add(i)
    out = []
    for name, size in (("location", 3), ("rotation_quaternion", 4), ("rotation_euler", 3), ("scale", 3)):
        values = np.empty(len(bones) * size, np.float32)
        bones.foreach_get(name, values)
        values.reshape(-1, size)[sorted(taken.get(name, ()))] = 0.0
        out.append(values.tobytes())
    for i, bone in enumerate(bones):
        own = [bone.rotation_mode]
        if i not in taken.get("constraints", ()):
            own += _stack(bone.constraints)
        if i not in taken.get("", ()):  # a custom property's path has no dot
            own += _custom(bone)
        out.append(repr(own).encode("utf-8", "surrogatepass"))
    return b"".join(out)


def of_data(scene: Any) -> bytes:
    """Everything that is the same on every frame: keys, drivers, skeletons at rest, meshes."""
    digest = fresh()
    for object in scene.objects:
        for _ in add_data(digest, object):
            pass
    return bytes(digest.digest())


def fresh() -> Any:
    """A fingerprint of nothing."""
    return hashlib.blake2b(digest_size=16)


def add_data(digest: Any, object: Any) -> Iterator[None]:
    """Adds one object's share of ``of_data``, in steps of some curves."""
    read = 0
    owners: tuple[Any, ...] = (object, object.data, getattr(object.data, "shape_keys", None))
    for owner in owners:
        if getattr(owner, "animation_data", None) is None:
            continue
        for curve, strip in curves_of(owner):
            digest.update(repr((curve.data_path, curve.array_index, curve.mute, strip and _plain(strip))).encode())
            digest.update(repr(_stack(curve.modifiers)).encode())
            points = curve.keyframe_points
            for name, size in (("co", 2), ("handle_left", 2), ("handle_right", 2)):
                digest.update(_many(points, name, size))
            digest.update(_many(points, "interpolation", 1, np.int32))
            digest.update(_many(points, "easing", 1, np.int32))
            read += 8 * len(points)
            if read > _AT_ONCE:
                read = 0
                yield
        for driver in owner.animation_data.drivers:
            digest.update(repr((driver.data_path, driver.array_index, driver.driver.expression)).encode())
    if object.type == "ARMATURE":
        digest.update(object.data.pose_position.encode())
        digest.update(_many(object.data.bones, "matrix_local", 16))
    elif object.type == "MESH":
        digest.update(_many(object.data.vertices, "co", 3))
    yield


def _of_object(object: Any) -> tuple[Any, ...]:
    camera = _plain(object.data) if object.type == "CAMERA" else ()
    return (*_placed(object), object.hide_viewport, object.hide_render, _custom(object), camera)


def _placed(object: Any) -> tuple[Any, ...]:
    """Where an object stands, first its own place, and what it hangs on."""
    parent = object.parent
    return (
        [tuple(row) for row in object.matrix_basis],
        object.session_uid,
        object.mode == "EDIT",
        parent.session_uid if parent else 0,
        object.parent_type,
        object.parent_bone,
        [tuple(row) for row in object.matrix_parent_inverse],
        _stack(object.constraints),
        _stack(object.modifiers),
    )


def _stack(things: Any) -> list[Any]:
    return [_plain(thing) for thing in things]


def _plain(thing: Any) -> list[Any]:
    """The values of a struct's plain properties, and which data it points at."""
    kind: Any = type(thing)
    plain, arrays, pointers, targets = _names(kind)
    values: list[Any] = [getattr(thing, name) for name in plain]
    values += [tuple(np.ravel(getattr(thing, name))) for name in arrays]
    pointed = (getattr(thing, name, None) for name in pointers)
    values += [one.session_uid if isinstance(one, bpy.types.ID) else None for one in pointed]
    return values + ([_plain(target) for target in thing.targets] if targets else [])


@cache
def _names(kind: Any) -> tuple[list[str], list[str], list[str], bool]:
    """The properties of a kind of struct: plain, arrays, pointers; and whether it has several targets."""
    properties = [
        p
        for p in kind.bl_rna.properties
        if p.identifier not in _SEEN_ONLY and not p.identifier.startswith(("select", "show_", "is_override"))
    ]
    plain = [p for p in properties if p.type in _PLAIN and not p.is_readonly]
    return (
        [p.identifier for p in plain if not getattr(p, "is_array", False)],
        [p.identifier for p in plain if getattr(p, "is_array", False)],
        [p.identifier for p in properties if p.type == "POINTER" and p.identifier != "rna_type"],
        any(p.identifier == "targets" for p in properties),
    )


def _custom(thing: Any) -> list[tuple[str, str]]:
    return [(name, repr(_written(value))) for name, value in thing.items() if name != CARD_PROPERTY]


def _written(value: Any) -> Any:
    if hasattr(value, "to_dict"):
        return value.to_dict()
    return value.to_list() if hasattr(value, "to_list") else value


def _many(things: Any, name: str, size: int, kind: Any = np.float32) -> bytes:
    out = np.empty(len(things) * size, kind)
    things.foreach_get(name, out)
    return out.tobytes()
