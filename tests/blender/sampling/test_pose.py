# SPDX-License-Identifier: GPL-3.0-or-later
"""A pose as it stands now: keyed or not, it reads as Blender shows it, and nothing is touched."""

from math import degrees, radians

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.armatures import CannotMeasure
from plumbline.blender_addon.sampling.pose import posed_now
from plumbline.core.measures.angles import angles
from plumbline.core.study import Study

from .figure import figure, key


def knee(shot):
    return float(Study(shot).of(angles, shot.characters[0])[("knee_flexion", "shin.L")].degrees[0])


def now():
    bpy.context.view_layer.update()
    return posed_now(bpy.context.scene, bpy.context.evaluated_depsgraph_get())


def test_a_pose_that_is_not_keyed_is_read_as_it_stands():
    rig = figure()
    key(rig, "shin.L", "rotation_euler", 1, (0.2, 0, 0))
    bpy.context.scene.frame_set(1)
    before = knee(now())
    rig.pose.bones["shin.L"].rotation_euler.x += radians(31)
    shot = now()
    assert abs(knee(shot) - before) == pytest.approx(31, abs=0.05)
    assert degrees(rig.pose.bones["shin.L"].rotation_euler.x) == pytest.approx(degrees(0.2) + 31, abs=1e-3)
    assert shot.frames.tolist() == [1.0] and len(bpy.data.scenes) == 1


def test_places_are_those_that_blender_shows():
    rig = figure()
    rig.location, rig.rotation_euler, rig.scale = (3, -2, 1), (0.1, 0.4, 2.0), (0.5, 0.5, 0.5)
    bpy.context.scene.unit_settings.scale_length = 0.01
    rig.pose.bones["thigh.L"].rotation_euler = (0.7, 0.1, 0.2)
    shot = now()
    figure_now = shot.characters[0]
    world = np.array(rig.matrix_world)
    for part, bone in zip(figure_now.parts, figure_now.bones, strict=True):
        place = world @ [*rig.pose.bones[bone].head, 1.0]
        assert figure_now.head(part)[0] == pytest.approx(place[:3] * 0.01, abs=1e-6)


def test_a_scene_without_a_character_says_so():
    with pytest.raises(CannotMeasure, match="armature"):
        now()
