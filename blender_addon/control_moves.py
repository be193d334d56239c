# SPDX-License-Identifier: GPL-3.0-or-later
"""A pose bone moved by its own location, and keyed so with few keys."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from mathutils import Vector

from . import compat

Array = np.ndarray

#: How far, over what it was moved, a place may miss the control's move for the control to drive it.
FOLLOWS = 0.1
#: Meters by which the keyed path may miss the wanted one before another key is set.
_CLOSE = 5e-4


@dataclass(frozen=True)
class Control:
    """A pose bone that carries something."""

    rig: Any
    bone: Any


def location_curves(rig: Any, bone: Any) -> dict[int, Any]:
    """The curves of a bone's own location that can be keyed, by axis; none unless all three are there."""
    path = bone.path_from_id("location")
    curves = {c.array_index: c for c, strip in compat.curves_of(rig) if strip is None and c.data_path == path}
    return curves if len(curves) == 3 else {}


def shift(control: Control, offset: Array) -> None:
    """Moves the control by a world offset (3,) in scene units through its own location."""
    bone, rig = control.bone, control.rig
    matrix = bone.matrix.copy()
    matrix.translation = matrix.translation + rig.matrix_world.to_3x3().inverted() @ Vector(offset.tolist())
    turn = (bone.rotation_mode, bone.rotation_euler.copy(), bone.rotation_quaternion.copy(), bone.scale.copy())
    bone.matrix = matrix
    bone.rotation_euler, bone.rotation_quaternion, bone.scale = turn[1:]


def key(control: Control, whole: Array, wanted: Array, held: int, meters: float) -> None:
    """Keys the control's location on the frames that it needs to keep to the wanted path (N, 3) in the first ``held``
    frames, and to come back from there."""
    curves = location_curves(control.rig, control.bone)
    own = list(curves.values())
    keyed = {
        round(point.co.x) for curve in own for point in curve.keyframe_points if whole[0] <= point.co.x <= whole[-1]
    }
    frames = {int(whole[0]), int(whole[held - 1]), int(whole[-1]), *keyed}
    for _ in range(len(whole)):
        for frame in sorted(frames):
            at = int(frame - whole[0])
            for k, curve in curves.items():
                point = curve.keyframe_points.insert(frame, float(wanted[at, k]), options={"FAST"})
                point.interpolation = "BEZIER"
                point.handle_left_type = point.handle_right_type = "AUTO_CLAMPED"
        for curve in own:
            curve.update()
        made = np.array([[curves[k].evaluate(float(f)) for k in range(3)] for f in whole])
        miss = np.linalg.norm(made - wanted, axis=1) * meters
        miss[[int(f - whole[0]) for f in frames]] = 0.0
        miss[held:] = 0.0
        if miss.max() <= _CLOSE:
            break
        frames.add(int(whole[int(np.argmax(miss))]))
