# SPDX-License-Identifier: GPL-3.0-or-later
"""A clip played in Blender by a skinned figure of our own: every bone keyed to stand as the clip's part does."""

from typing import Any

import numpy as np
from mathutils import Matrix
from plumbline.core.shot import Character
from plumbline.core.testing.pods import Mesh, pod, radius

from ..blender.skinned import above, armature, skin

Array = np.ndarray


def pods(who: Character) -> dict[str, Mesh]:
    """part -> its flesh at rest; a part without length gets a twelfth of the height, upright."""
    out = {}
    for part in who.parts:
        start, stop = who.rest_head(part), who.rest_end(part)
        if np.linalg.norm(stop - start) < 0.02 * who.height:
            stop = start + np.array([0.0, 0.0, 0.08 * who.height])
        out[part] = pod(start, stop, radius(part, who.height))
    return out


def play(scene: Any, who: Character, meshes: dict[str, Mesh], count: int, first: int = 0) -> Any:
    """The armature, keyed on frames 1 to ``count`` with the clip's frames from ``first``, 0 first, under its skin."""
    rig = armature(scene, "Keeper", {part: (who.rest_head(part), who.rest_end(part)) for part in who.parts})
    rest = {part: np.array(rig.data.bones[part].matrix_local) for part in who.parts}
    for part in who.parts:
        pose = rig.pose.bones[part]
        pose.rotation_mode = "QUATERNION"
        over = above(part, who.parts)
        for f in range(count):
            own = _posed(who, part, rest, first + f)
            if over:
                local = np.linalg.inv(rest[over]) @ rest[part]
                own = np.linalg.inv(local) @ np.linalg.inv(_posed(who, over, rest, first + f)) @ own
            else:
                own = np.linalg.inv(rest[part]) @ own
            place, turn, _ = Matrix(own.tolist()).decompose()
            if f:
                turn.make_compatible(pose.rotation_quaternion)
            pose.location, pose.rotation_quaternion = place, turn
            pose.keyframe_insert("location", frame=f + 1)
            pose.keyframe_insert("rotation_quaternion", frame=f + 1)
    skin(scene, rig, meshes)
    return rig


def carried(who: Character, part: str, places: Array, f: int) -> Array:
    """Places at rest (n, 3) carried by a part to frame f of the clip, 0 first, by the clip's own joints."""
    assert who.axes is not None
    k = who.index[part]
    turn = who.axes[f, k] @ who.rest_axes[k].T
    return np.asarray((places - who.rest_heads[k]) @ turn.T + who.heads[f, k])


def _posed(who: Character, part: str, rest: dict[str, Array], f: int) -> Array:
    assert who.axes is not None
    k = who.index[part]
    out = np.eye(4)
    out[:3, :3] = who.axes[f, k] @ who.rest_axes[k].T @ rest[part][:3, :3]
    out[:3, 3] = who.heads[f, k]
    return out
