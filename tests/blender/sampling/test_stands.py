# SPDX-License-Identifier: GPL-3.0-or-later
"""A file just opened has worked out the places of what its active view layer shows, and of nothing else."""

from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Matrix
from plumbline.blender_addon.sampling.stands import stands_of
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.need import Need

from .figure import boots, box

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def _set(scene: Any, rig: Any) -> None:
    """The figure stands turned on a raised floor; boots and floor get their place from their objects alone."""
    rig.location, rig.rotation_euler = (0, 0, 0.5), (0, 0, 2)
    skin = boots(rig)
    skin.data.transform(Matrix.Translation((0, 0, -3)))
    skin.location = (0, 0, 3)
    box("Floor", (-3, -3, -0.2), (3, 3, 0)).location.z = 0.5
    buckle = box("Buckle", (-0.02, -0.02, -0.02), (0.02, 0.02, 0.02))
    buckle.parent, buckle.parent_type, buckle.parent_bone = rig, "BONE", "head"


def _away(scene: Any) -> None:
    away = bpy.data.collections.new("Away")
    scene.collection.children.link(away)
    for name in ("Keeper", "Boots", "Buckle"):
        object = bpy.data.objects[name]
        away.objects.link(object)
        scene.collection.objects.unlink(object)
    scene.view_layers[0].layer_collection.children["Away"].exclude = True


def _hidden(scene: Any) -> None:
    for name in ("Keeper", "Boots", "Buckle"):
        bpy.data.objects[name].hide_viewport = True


def _unseen(scene: Any) -> None:
    bpy.context.window.scene = bpy.data.scenes.new("Front")


@pytest.mark.parametrize("way", [_unseen, _away, _hidden], ids=["other scene", "excluded", "hidden"])
def test_places_do_not_depend_on_what_is_shown(scene: Any, rig: Any, tmp_path: Any, way: Any) -> None:
    _set(scene, rig)
    bpy.context.view_layer.update()
    wanted = sweep_now(scene, Request(ALL))
    way(scene)
    path = str(tmp_path / "tower.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path, load_ui=False)
    scene = bpy.data.scenes["Scene"]
    objects = len(bpy.data.objects)
    found = sweep_now(scene, Request(ALL))
    assert len(bpy.data.objects) == objects and not [s for s in bpy.data.scenes if s.name.startswith(".probe")]
    assert [s.name for s in found.surfaces] == [s.name for s in wanted.surfaces] == ["Floor"]
    np.testing.assert_allclose(found.surfaces[0].world, wanted.surfaces[0].world, atol=1e-6)
    one, two = wanted.characters[0], found.characters[0]
    np.testing.assert_allclose(two.heads[:30], one.heads[:30], atol=3e-6)
    np.testing.assert_allclose(two.rest_heads, one.rest_heads, atol=3e-6)
    assert two.height == pytest.approx(one.height, abs=1e-4)
    assert [s.side for s in two.soles] == [s.side for s in one.soles] == ["L", "R"]
    for a, b in zip(one.soles, two.soles, strict=True):
        np.testing.assert_allclose(b.points, a.points, atol=1e-4)


def test_every_object_stands_where_blender_puts_it(scene: Any, rig: Any, tmp_path: Any) -> None:
    """Alone, with deltas, below a parent, constrained, keyed, driven."""
    alone, delta, child, held, keyed, driven = (
        box(n, (0, 0, 0), (1, 1, 1)) for n in ["alone", "delta", "child", "held", "keyed", "driven"]
    )
    for k, object in enumerate((alone, delta, child, held, keyed, driven)):
        object.location, object.rotation_euler, object.scale = (k, 1, 2), (0.3, 0.1 * k, 1), (1, 2, 1.5)
    delta.delta_location, delta.delta_rotation_euler, delta.delta_scale = (1, 2, 3), (0.5, 0, 0), (2, 1, 1)
    child.parent = delta
    held.constraints.new("COPY_LOCATION").target = child
    for f, x in ((1, 0.0), (30, 3.0)):
        keyed.location.x = x
        keyed.keyframe_insert("location", frame=f)
    driven.driver_add("location", 1).driver.expression = "frame / 4"
    scene.frame_set(7)
    bpy.context.view_layer.update()
    wanted = {o.name: np.array(o.matrix_world) for o in scene.objects}
    _unseen(scene)
    path = str(tmp_path / "tower.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path, load_ui=False)
    scene = bpy.data.scenes["Scene"]
    found = stands_of(scene)
    for name, world in wanted.items():
        np.testing.assert_allclose(np.array(found.of(scene.objects[name])), world, atol=1e-5, err_msg=name)
        assert not found.evaluated(scene.objects[name])


def test_a_prop_that_stands_still_in_a_scene_that_is_not_shown(scene: Any, rig: Any, tmp_path: Any) -> None:
    lamp = box("Lamp", (0, 0, 0), (0.1, 0.1, 0.1))
    lamp.location, lamp["plumbline_prop"] = (1, 2, 3), True
    _unseen(scene)
    path = str(tmp_path / "tower.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path, load_ui=False)
    (prop,) = sweep_now(bpy.data.scenes["Scene"], Request(ALL)).props
    np.testing.assert_allclose(prop.origin, np.broadcast_to([1.0, 2.0, 3.0], prop.origin.shape))
