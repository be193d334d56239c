# SPDX-License-Identifier: GPL-3.0-or-later
"""Places of objects and poses of armatures out of their keys alone, for all frames at once, as Blender works them out.

It holds for forward kinematics only: whatever else may move an object or a bone makes ``Unclear``, and Blender's own
evaluation must be asked. Even what is clear here is trusted only after ``proof`` has compared some frames with Blender.
Rows: matrices lie as (3, 3, ..., F), their frames last, so that each step runs over long stretches of memory.
"""

import re
from collections.abc import Generator, Iterable, Sequence
from typing import Any

import numpy as np

from ...core.steps import finished
from .curves import Curves, Unclear
from .keys import KeyBook
from .readers import applied, times

Array = np.ndarray

#: Frames worked out together: what one step needs for a figure then stays near the processor.
BLOCK = 1_000
#: What moves an object or a bone.
MOVERS = {"location", "scale", "rotation_quaternion", "rotation_euler", "rotation_axis_angle"}
#: Animated settings that move nothing by themselves.
_IDLE = re.compile(
    r'(pose\.bones\["(?:[^"\\]|\\.)*"\])?\["|(hide_render|color|pass_index|show_in_front|display_type)$'
)
#: Blender's numbers of rotation modes; -1 is axis and angle, 0 quaternion.
EULERS = ("XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX")
_SOLVERS = {"IK", "SPLINE_IK"}


class Forward:
    """Answers for the objects of one sweep. frames (F,): whole scene frames; book: keys read for these frames."""

    def __init__(self, book: KeyBook, frames: Array) -> None:
        self._book, self._frames = book, frames
        self._places: dict[int, Array | Unclear] = {}
        self._curves: dict[int, Curves] = {}

    def place(self, object: Any) -> Array:
        """World matrices (F, 4, 4) of an object, (1, 4, 4) where it stands still; scene units. Raises Unclear."""
        known = self._places.get(object.session_uid)
        if known is None:
            try:
                known = self._place(object)
            except Unclear as why:
                known = why
            self._places[object.session_uid] = known
        if isinstance(known, Unclear):
            raise known
        return known

    def pose(self, object: Any, bones: Iterable[str]) -> tuple[tuple[str, ...], Array]:
        """Names of the ``bones`` and all above them, and their matrices (3, 4, n, F) in armature space, the fourth
        column the place; F is 1 where nothing moves. Raises Unclear."""
        return finished(self.posing(object, bones))

    def posing(self, object: Any, bones: Iterable[str]) -> Generator[float, None, tuple[tuple[str, ...], Array]]:
        """``pose`` in steps of some frames; yields the part done, 0 to 1."""
        chain = _chain(object, bones)
        curves = self._curves_of(object)
        _unbound(object, {name for name, _ in chain}, curves)
        if not chain:
            return (), np.zeros((3, 4, 0, 1))
        rows = yield from _pose(object, chain, curves, len(self._frames))
        return tuple(name for name, _ in chain), rows

    def _curves_of(self, object: Any) -> Curves:
        if object.session_uid not in self._curves:
            self._curves[object.session_uid] = Curves(object, self._book, self._frames)
        return self._curves[object.session_uid]

    def _place(self, object: Any) -> Array:
        if any(not constraint.mute for constraint in object.constraints):
            raise Unclear("has constraints")
        if object.rigid_body is not None:
            raise Unclear("is moved by rigid-body simulation")
        if _displaced(object):
            raise Unclear("has delta transforms")
        curves = self._curves_of(object)
        for bone, path in curves.at:
            if not bone and path not in MOVERS and not _IDLE.match(path):
                raise Unclear(f"has its {path} animated")
        turn, place = _basis([object], [curves.at], _stored([object]), curves)
        here = np.zeros((max(turn.shape[-1], place.shape[-1]), 4, 4))
        here[:, :3, :3], here[:, :3, 3], here[:, 3, 3] = turn[:, :, 0].transpose(2, 0, 1), place[:, 0].T, 1.0
        if object.parent is None:
            return here
        if object.parent_type not in ("OBJECT", "ARMATURE") or object.parent.type == "CURVE":
            raise Unclear(f"hangs on its parent by {object.parent_type.lower()}")
        out: Array = self.place(object.parent) @ np.array(object.matrix_parent_inverse, float) @ here
        return out


# ---- what makes it unclear -------------------------------------------------------------------------------------------


def _displaced(object: Any) -> bool:
    return (
        any(object.delta_location)
        or any(object.delta_rotation_euler)
        or tuple(object.delta_rotation_quaternion) != (1.0, 0.0, 0.0, 0.0)
        or tuple(object.delta_scale) != (1.0, 1.0, 1.0)
    )


def _unbound(object: Any, chain: set[str], curves: Curves) -> None:
    """Raises Unclear unless nothing but their own channels and their parents moves the bones of the chain."""
    data = object.data
    if data.pose_position != "POSE" or data.is_editmode:
        raise Unclear("is not in its pose")
    own = data.animation_data
    if own is not None and (own.action is not None or len(own.drivers) or len(own.nla_tracks)):
        raise Unclear("has its armature data animated")
    for bone, path in curves.at:
        if "constraints[" in path:
            raise Unclear("has its constraints animated")
        idle = path in MOVERS or path.startswith("bbone_") or (not bone and _IDLE.match(path))
        if (not bone or bone in chain) and not idle:
            raise Unclear(f"has its {path} animated")
    for bone in object.pose.bones:
        for constraint in bone.constraints:
            if not constraint.mute and (constraint.type in _SOLVERS or bone.name in chain):
                raise Unclear(f"has constraints on {bone.name}")


def _chain(object: Any, bones: Iterable[str]) -> list[tuple[str, int]]:
    """The bones and all above them, parents first and level by level: name and row of the parent, -1 for none."""
    rest = object.data.bones
    depth: dict[str, int] = {}
    for name in bones:
        above, bone = [], rest[name]
        while bone is not None and bone.name not in depth:
            above.append(bone.name)
            bone = bone.parent
        start = -1 if bone is None else depth[bone.name]
        depth.update((each, start + n) for n, each in enumerate(reversed(above), 1))
    ordered = sorted(depth, key=lambda name: depth[name])
    row = {name: i for i, name in enumerate(ordered)}
    return [(n, -1 if rest[n].parent is None else row[rest[n].parent.name]) for n in ordered]


# ---- kinematics ------------------------------------------------------------------------------------------------------


def _pose(
    object: Any, chain: Sequence[tuple[str, int]], curves: Curves, frames: int
) -> Generator[float, None, Array]:
    rest = object.data.bones
    bones = [rest[name] for name, _ in chain]
    for bone in bones:
        if not bone.use_inherit_rotation or bone.inherit_scale != "FULL":
            raise Unclear(f"has {bone.name} inherit only part of its parent's transform")
    posed = [object.pose.bones[name] for name, _ in chain]
    paths = [_of_bone(curves, name) for name, _ in chain]
    stored = _stored(posed)
    # a connected bone's own location counts for nothing
    for i, bone in enumerate(bones):
        if bone.use_connect and bone.parent is not None:
            stored["location"][i] = 0.0
            paths[i].pop(("", "location"), None)
    turned, moved = _basis(posed, paths, stored, curves)
    offset, head = _offsets(bones)
    parents = [parent for _, parent in chain]
    levels = _levels(parents)
    n = max(turned.shape[-1], moved.shape[-1])
    out = np.empty((3, 4, len(chain), n))
    local_location = np.array([bone.use_local_location for bone in bones], bool)
    for begin in range(0, n, BLOCK):
        if begin:
            yield begin / n
        some = slice(begin, min(n, begin + BLOCK))
        turn = times(offset[..., None], turned[..., some] if turned.shape[-1] > 1 else turned)
        step = moved[..., some] if moved.shape[-1] > 1 else moved
        place = np.broadcast_to(head[..., None], (3, len(chain), max(step.shape[-1], 1))).copy()
        goes = np.flatnonzero(step.any(axis=(0, 2)))
        if len(goes):
            turning = np.where(local_location[goes], offset[:, :, goes], np.eye(3)[:, :, None])
            place[:, goes] += applied(turning[..., None], step[:, goes])
        block = out[..., some]
        for lo, hi in levels:
            above = parents[lo:hi]
            if above[0] < 0:
                block[:, :3, lo:hi], block[:, 3, lo:hi] = turn[:, :, lo:hi], place[:, lo:hi]
                continue
            carrier = block[:, :, above]
            block[:, :3, lo:hi] = times(carrier[:, :3], turn[:, :, lo:hi])
            block[:, 3, lo:hi] = applied(carrier[:, :3], place[:, lo:hi]) + carrier[:, 3]
    return out


def _of_bone(curves: Curves, bone: str) -> dict[tuple[str, str], list[tuple[int, int]]]:
    return {("", path): curves.at[bone, path] for path in MOVERS if (bone, path) in curves.at}


def _levels(parents: Sequence[int]) -> list[tuple[int, int]]:
    """First row and the row after the last of each level of a tree sorted by depth."""
    depth: list[int] = []
    for parent in parents:
        depth.append(0 if parent < 0 else depth[parent] + 1)
    edges = [0, *(i for i in range(1, len(depth)) if depth[i] != depth[i - 1]), len(depth)]
    return list(zip(edges[:-1], edges[1:], strict=True))


def _offsets(bones: Sequence[Any]) -> tuple[Array, Array]:
    """Turn (3, 3, n) and place (3, n) of each bone at rest as its parent bone carries it, as Blender keeps them."""
    turn = np.empty((3, 3, len(bones)))
    place = np.empty((3, len(bones)))
    for i, bone in enumerate(bones):
        if bone.parent is None:
            whole = np.array(bone.matrix_local, float)
            turn[:, :, i], place[:, i] = whole[:3, :3], whole[:3, 3]
        else:
            turn[:, :, i], place[:, i] = np.array(bone.matrix, float), np.array(bone.head, float)
            place[1, i] += bone.parent.length
    return turn, place


def _stored(owners: Sequence[Any]) -> dict[str, Array]:
    """The values that objects or pose bones hold where no curve moves them, (n, 3 or 4) by path."""
    return {path: np.array([tuple(getattr(owner, path)) for owner in owners], float) for path in MOVERS}


def _basis(
    owners: Sequence[Any], paths: Sequence[Any], stored: dict[str, Array], curves: Curves
) -> tuple[Array, Array]:
    """Turn with scale (3, 3, n, F) and location (3, n, F) of what each owner's own channels say; F is 1 where nothing
    moves. paths: for each owner ('', path) -> the channels as (index, row)."""
    modes = [owner.rotation_mode for owner in owners]
    wanted = {"QUATERNION": "rotation_quaternion", "AXIS_ANGLE": "rotation_axis_angle"}
    turns = [wanted.get(mode, "rotation_euler") for mode in modes]
    used = [
        (i, path, index, row)
        for i, of in enumerate(paths)
        for path in ("location", "scale", turns[i])
        for index, row in of.get(("", path), ())
    ]
    values = curves.values([row for *_, row in used]) if used else np.zeros((0, 1))
    frames = values.shape[1]
    columns: dict[str, Array] = {}
    for path in ("location", "scale", *set(turns)):
        moving = any(of == path for _, of, _, _ in used)
        flat = stored[path].T[..., None]
        columns[path] = np.broadcast_to(flat, (*flat.shape[:2], frames)).copy() if moving else flat
    for (i, path, index, _), value in zip(used, values, strict=True):
        if index < len(columns[path]):
            columns[path][index, i] = value
    turn = np.empty((3, 3, len(owners), max(columns[path].shape[-1] for path in {*turns, "scale"})))
    for mode in set(modes):
        some = [i for i, m in enumerate(modes) if m == mode]
        turn[:, :, some] = _turn(mode, columns[wanted.get(mode, "rotation_euler")][:, some])
    if columns["scale"].shape[-1] > 1 or (columns["scale"] != 1.0).any():
        turn *= columns["scale"][None]
    return turn, columns["location"]


def _turn(mode: str, c: Array) -> Array:
    """(3, 3, ...) out of the channels (3 or 4, ...) of a rotation mode."""
    if mode == "QUATERNION":
        return _of_quaternion(c)
    if mode == "AXIS_ANGLE":
        length = np.sqrt((c[1:] * c[1:]).sum(axis=0))
        no_axis = length <= 1e-35
        axis = c[1:] / np.where(no_axis, 1.0, length)
        half = np.where(no_axis, 0.0, c[0] / 2)
        return _of_quaternion(np.concatenate([np.cos(half)[None], np.sin(half) * axis]))
    out: Array | None = None
    for letter in mode:  # the first letter turns first
        i = "XYZ".index(letter)
        j, k = (i + 1) % 3, (i + 2) % 3
        one = np.zeros((3, 3, *c.shape[1:]))
        one[i, i] = 1.0
        one[j, j] = one[k, k] = np.cos(c[i])
        one[k, j] = np.sin(c[i])
        one[j, k] = -one[k, j]
        out = one if out is None else times(one, out)
    assert out is not None
    return out


def _of_quaternion(q: Array) -> Array:
    """(3, 3, ...) of quaternions (4, ...), w first, of any length; one of no length is a half turn about X, as in
    Blender."""
    length = np.sqrt((q * q).sum(axis=0))
    if not length.all():
        q = np.where(length == 0, np.array([0.0, 1.0, 0.0, 0.0]).reshape(4, *([1] * (q.ndim - 1))), q)
        length = np.where(length == 0, 1.0, length)
    w, x, y, z = q / length * np.sqrt(2.0)
    out = np.empty((3, 3, *q.shape[1:]))
    wx, wy, wz, xx, xy, xz, yy, yz, zz = w * x, w * y, w * z, x * x, x * y, x * z, y * y, y * z, z * z
    out[0, 0], out[0, 1], out[0, 2] = 1.0 - yy - zz, xy - wz, xz + wy
    out[1, 0], out[1, 1], out[1, 2] = xy + wz, 1.0 - xx - zz, yz - wx
    out[2, 0], out[2, 1], out[2, 2] = xz - wy, yz + wx, 1.0 - xx - yy
    return out
