# SPDX-License-Identifier: GPL-3.0-or-later
"""A planted case as a keyed shot in Blender: the sparse keys of the clip keyed anew, and keys frame by frame where the
fault was planted.

Bones are turned by quaternions; legs also follow goals by inverse kinematics, as the feet of a rig do. A floor that the
case stands on is a mesh marked as ground: without it a foot that hangs still may stand on what nobody sees. Curves are
written as pieces whose handles end a third of the way to the neighbor, which Blender evaluates as numeric.fcurve does.
"""

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix
from plumbline.blender_addon.sampling.props import GROUND
from plumbline.core import body
from plumbline.core.measures.local import local_axes
from plumbline.core.measures.turn import parent_on
from plumbline.core.numeric.fcurve import evaluate
from plumbline.core.numeric.rotation import log
from plumbline.core.shot import Character, Keys, Shot, Surface

Array = np.ndarray

#: Radians, and meters, under which two frames of a bone are the same.
SAME_TURN, SAME_PLACE = 1e-5, 1e-5
LEGS = ("thigh", "shin", "foot", "toe")


@dataclass
class Column:
    """Keys of one curve: frames, values, slopes to the left and to the right (values a frame)."""

    frames: Array
    values: Array
    left: Array
    right: Array


def build(shot: Shot, host: Shot) -> Any:
    """The case ``shot``, planted in ``host``, as an armature in the open, empty file; returns the object."""
    planted, clean = shot.characters[0], host.characters[0]
    if host.count != shot.count:  # planted in the clip played to and fro: keys on every frame
        clean = planted
    scene = bpy.context.scene
    scene.render.fps, scene.render.fps_base = round(shot.fps), round(shot.fps) / shot.fps
    scene.frame_start, scene.frame_end = shot.frame(0), shot.frame(shot.count - 1)
    for surface in shot.surfaces:
        _ground(surface)
    rig, rest = _armature(clean, shot.characters[0].name)
    for part in clean.parts:
        rig.pose.bones[part].rotation_mode = "QUATERNION"
    for side in body.SIDES:
        if clean.has(*body.LIMBS[f"leg.{side}"]):
            _goal(rig, side)
    rig.animation_data_create()
    rig.animation_data.action = bpy.data.actions.new("Shot")
    for part in clean.parts:
        _turns(rig, part, planted, clean, rest, shot)
    _places(rig, planted, clean, rest, shot)
    for side in body.SIDES:
        if clean.has(*body.LIMBS[f"leg.{side}"]):
            _goal_keys(rig, side, planted, rest, shot)
    scene.frame_set(scene.frame_start)
    return rig


def _ground(surface: Surface) -> None:
    """A still surface as a mesh marked as ground."""
    data = bpy.data.meshes.new(surface.name or "Ground")
    corners = surface.triangles.reshape(-1, 3)
    data.from_pydata(corners.tolist(), [], np.arange(len(corners)).reshape(-1, 3).tolist())
    mesh = bpy.data.objects.new(data.name, data)
    mesh.matrix_world = Matrix(surface.world[0].tolist())
    mesh[GROUND] = True
    bpy.context.scene.collection.objects.link(mesh)


def _armature(c: Character, name: str) -> tuple[Any, dict[str, Array]]:
    """The rig at rest, and each bone's rest matrix (4, 4)."""
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    heads = _rest_heads(c)
    for part in sorted(c.parts, key=body.PARTS.index):
        bone = data.edit_bones.new(part)
        following = body.next_part(part)
        i = c.index[part]
        tail = heads[part] + c.rest_tails[i] - c.rest_heads[i]
        bone.head = heads[part]
        bone.tail = heads[following] if following in heads and part != "pelvis" else tail
        if bone.length < 0.01:
            bone.tail = heads[part] + np.array([0.0, 0.0, 0.05])
        bone.roll = 0.0
        above = parent_on(c, part)
        bone.parent = data.edit_bones[above] if above else None
        if part.startswith("foot"):
            goal = data.edit_bones.new(f"foot_goal.{body.side(part)}")
            goal.head, goal.tail, goal.roll = bone.head, bone.tail, bone.roll
    bpy.ops.object.mode_set(mode="OBJECT")
    return rig, {b.name: np.array(b.matrix_local) for b in data.bones}


def _rest_heads(c: Character) -> dict[str, Array]:
    """Joints at rest whose distances are those of the motion."""
    assert c.axes is not None
    heads: dict[str, Array] = {}
    for part in sorted(c.parts, key=body.PARTS.index):
        above = parent_on(c, part)
        if above is None:
            heads[part] = c.rest_head(part)
            continue
        j = c.index[above]
        place = np.median(np.einsum("fji,fj->fi", c.axes[:, j], c.head(part) - c.head(above)), axis=0)
        heads[part] = heads[above] + c.rest_axes[j] @ place
    return heads


def _goal(rig: Any, side: str) -> None:
    pose = rig.pose.bones
    pose[f"foot_goal.{side}"].rotation_mode = "QUATERNION"
    ik = pose[f"shin.{side}"].constraints.new("IK")
    ik.target, ik.subtarget, ik.chain_count = rig, f"foot_goal.{side}", 2
    follow = pose[f"foot.{side}"].constraints.new("COPY_ROTATION")
    follow.target, follow.subtarget = rig, f"foot_goal.{side}"


def _quaternion(rotation: Array) -> Array:
    """(F, 4) w x y z, each on the side of the one before."""
    vector = log(rotation)
    angle = np.linalg.norm(vector, axis=-1, keepdims=True)
    q = np.concatenate([np.cos(angle / 2), vector * np.sinc(angle / (2 * np.pi)) / 2], -1)
    flip = np.where((q[1:] * q[:-1]).sum(-1) < 0, -1.0, 1.0)
    return np.asarray(q * np.cumprod(np.concatenate([[1.0], flip]))[:, None])


def _left(q: Array) -> Array:
    """The matrix (4, 4) that multiplies a quaternion by ``q`` from the left."""
    w, x, y, z = q
    return np.array([[w, -x, -y, -z], [x, w, -z, y], [y, z, w, -x], [z, -y, x, w]])


def _right(q: Array) -> Array:
    w, x, y, z = q
    return np.array([[w, -x, -y, -z], [x, w, z, -y], [y, -z, w, x], [z, y, -x, w]])


def _turns(rig: Any, part: str, planted: Character, clean: Character, rest: dict[str, Array], shot: Shot) -> None:
    """The part's turn: sparse where the clip keyed anew has keys, every frame where it is planted or has none."""
    above = parent_on(clean, part)
    own, own_rest = rest[part][:3, :3], clean.rest_axes[clean.index[part]]
    parent_rest = clean.rest_axes[clean.index[above]] if above else np.eye(3)
    before, after = own.T @ parent_rest, own_rest.T @ own
    local = {who: local_axes(c, part) for who, c in (("planted", planted), ("clean", clean))}
    dense = _quaternion(before @ local["planted"] @ after)
    path = f'pose.bones["{part}"].rotation_quaternion'
    sparse = None if body.base(part) in LEGS else _sparse_turn(clean, part, before, after, shot.frames)
    if sparse is None:
        for k in range(4):
            _write(rig, path, k, _every(shot.frames, dense[:, k]))
        return
    keyed, values = sparse
    # the keyed quaternion may be on the other side than the dense one
    side = np.sign((values * dense).sum(1))
    differs = np.linalg.norm(values * side[:, None] - dense, axis=1) > SAME_TURN
    for k in range(4):
        _write(rig, path, k, _mixed(keyed[k], shot.frames, values[:, k], dense[:, k] * side, differs))


def _sparse_turn(
    clean: Character, part: str, before: Array, after: Array, frames: Array
) -> tuple[list[Column], Array] | None:
    """The clip's own keys of the part's turn in the rig's terms, and their values (F, 4) on every frame."""
    keys, rows = clean.keys, _own_rows(clean, part, "rotation_quaternion", 4)
    if keys is None or not rows:
        return None
    mapped = _left(_quaternion(before[None])[0]) @ _right(_quaternion(after[None])[0])
    return _mapped(keys, rows, mapped), np.stack([evaluate(keys, i, frames) for i in rows], 1) @ mapped.T


def _own_rows(clean: Character, part: str, path: str, count: int) -> list[int]:
    """The clip's own channels of the part's property, where all of them are keyed; else none."""
    bone = clean.bones[clean.index[part]]
    channels = clean.keys.channels if clean.keys is not None else ()
    rows = [i for i, ch in enumerate(channels) if ch.bone == bone and ch.path.endswith(path)]
    return rows if len(rows) == count else []


def _mapped(keys: Keys, rows: list[int], matrix: Array) -> list[Column]:
    """Curves that share their key frames under a linear map of their values."""
    columns = [keys.of(i) for i in rows]
    frames = keys.scene_frame[columns[0]]
    values = np.stack([keys.value[of] for of in columns])

    def slope(handles: Array) -> Array:
        out = []
        for of in columns:
            reach = handles[of, 0] - keys.scene_frame[of]
            out.append((handles[of, 1] - keys.value[of]) / np.where(np.abs(reach) > 1e-9, reach, 1.0))
        return np.stack(out)

    left, right = slope(keys.left), slope(keys.right)
    return [Column(frames, *(matrix[k] @ array for array in (values, left, right))) for k in range(len(matrix))]


def _every(frames: Array, values: Array) -> Column:
    slope = np.gradient(values, frames)
    return Column(frames, values, slope, slope)


def _mixed(sparse: Column, frames: Array, clean: Array, planted: Array, differs: Array) -> Column:
    """The sparse keys, and keys on every frame that differs and on the ones beside, which keep the clean value."""
    if not differs.any():
        return sparse
    near = differs.copy()
    near[:-1] |= differs[1:]
    near[1:] |= differs[:-1]
    fine = np.gradient(clean, frames)
    slope = np.gradient(planted, frames)
    at = np.flatnonzero(near)
    kept = ~np.isin(np.round(sparse.frames, 6), np.round(frames[at], 6))
    left = np.where(differs[at] | np.roll(near, 1)[at], slope[at], fine[at])
    right = np.where(differs[at] | np.roll(near, -1)[at], slope[at], fine[at])
    joined = [np.concatenate([old[kept], new]) for old, new in
              ((sparse.frames, frames[at]), (sparse.values, planted[at]), (sparse.left, left), (sparse.right, right))]
    order = np.argsort(joined[0])
    return Column(*(column[order] for column in joined))


def _places(rig: Any, planted: Character, clean: Character, rest: dict[str, Array], shot: Shot) -> None:
    """The pelvis's place; of other parts where a plant has taken their joint off its place."""
    for part in clean.parts:
        above = parent_on(clean, part)
        own = rest[part]
        if above is None:
            local = (planted.head(part) - own[:3, 3]) @ own[:3, :3]
            still = (clean.head(part) - own[:3, 3]) @ own[:3, :3]
        else:
            local, still = (_aside(c, part, above, rest) for c in (planted, clean))
            if np.abs(local - still).max() < SAME_PLACE:
                continue
            still = np.zeros_like(still)
        path = f'pose.bones["{part}"].location'
        sparse = _sparse_place(clean, part, own) if above is None else None
        differs = np.abs(local - still).max(axis=1) > SAME_PLACE
        for k in range(3):
            column = _every(shot.frames, local[:, k])
            if sparse is not None:
                column = _mixed(sparse[k], shot.frames, still[:, k], local[:, k], differs)
            _write(rig, path, k, column)


def _aside(c: Character, part: str, above: str, rest: dict[str, Array]) -> Array:
    """How far a joint is off its place on its parent, (F, 3) in the bone's own rest axes."""
    assert c.axes is not None
    j = c.index[above]
    place = np.einsum("fji,fj->fi", c.axes[:, j], c.head(part) - c.head(above))
    usual = np.median(place, axis=0)
    return np.asarray((place - usual) @ c.rest_axes[j].T @ rest[part][:3, :3])


def _sparse_place(clean: Character, part: str, own: Array) -> list[Column] | None:
    keys, rows = clean.keys, _own_rows(clean, part, "location", 3)
    if keys is None or not rows:
        return None
    columns = _mapped(keys, rows, own[:3, :3].T)
    origin = own[:3, :3].T @ own[:3, 3]
    return [Column(c.frames, c.values - origin[k], c.left, c.right) for k, c in enumerate(columns)]


def _goal_keys(rig: Any, side: str, planted: Character, rest: dict[str, Array], shot: Shot) -> None:
    assert planted.axes is not None
    foot, bone = f"foot.{side}", f"foot_goal.{side}"
    i = planted.index[foot]
    own = rest[bone]
    place = (planted.head(foot) - own[:3, 3]) @ own[:3, :3]
    turn = own[:3, :3].T @ planted.axes[:, i] @ planted.rest_axes[i].T @ own[:3, :3]
    for k in range(3):
        _write(rig, f'pose.bones["{bone}"].location', k, _every(shot.frames, place[:, k]))
    for k, values in enumerate(_quaternion(turn).T):
        _write(rig, f'pose.bones["{bone}"].rotation_quaternion', k, _every(shot.frames, values))


def _write(rig: Any, path: str, index: int, column: Column) -> None:
    action = rig.animation_data.action
    if hasattr(action, "fcurve_ensure_for_datablock"):
        curve = action.fcurve_ensure_for_datablock(rig, path, index=index)
    else:
        curve = action.fcurves.new(path, index=index)
    gaps = np.diff(column.frames) / 3
    before, after = np.concatenate([[1.0], gaps]), np.concatenate([gaps, [1.0]])
    points = curve.keyframe_points
    points.add(len(column.frames))

    def put(name: str, x: Array, y: Array) -> None:
        points.foreach_set(name, np.stack([x, y], 1).astype(np.float32).ravel())

    put("co", column.frames, column.values)
    for point in points:
        point.handle_left_type = point.handle_right_type = "FREE"
        point.interpolation = "BEZIER"
    put("handle_left", column.frames - before, column.values - column.left * before)
    put("handle_right", column.frames + after, column.values + column.right * after)
    curve.update()


def far_off(rig: Any, shot: Shot, frames: list[int]) -> float:
    """Meters by which the rig's joints are off the case's at most, on some samples."""
    c, worst = shot.characters[0], 0.0
    for i in frames:
        bpy.context.scene.frame_set(shot.frame(i))
        for part in c.parts:
            place = np.array(rig.matrix_world @ Matrix(rig.pose.bones[part].matrix).translation)
            worst = max(worst, float(np.linalg.norm(place - c.head(part)[i])))
    return worst
