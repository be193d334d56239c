# SPDX-License-Identifier: GPL-3.0-or-later
"""What a person's scene hides, leaves out or simulates is said, and never taken for a prop or for ground."""

from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.need import Need

from .figure import blender_says, boots, box, figure, walk

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def _moving(object: Any) -> Any:
    for f, x in ((1, 0.0), (30, 2.0)):
        object.location.x = x
        object.keyframe_insert("location", frame=f)
    return object


def _collection(scene: Any, *objects: Any) -> Any:
    away = bpy.data.collections.new("Away")
    scene.collection.children.link(away)
    for object in objects:
        away.objects.link(object)
        scene.collection.objects.unlink(object)
    return away


def _exclude(scene: Any, away: Any) -> None:
    scene.view_layers[0].layer_collection.children[away.name].exclude = True


def _hide(scene: Any, away: Any) -> None:
    away.hide_viewport = True


WAYS = pytest.mark.parametrize("way", [_exclude, _hide], ids=["excluded", "hidden"])


@WAYS
def test_a_figure_left_out_is_measured_and_said(scene: Any, rig: Any, way: Callable[[Any, Any], None]) -> None:
    names = sweep_now(scene, Request(ALL)).characters[0].bones
    heads, _ = blender_says(scene, rig, names, range(1, 31))
    way(scene, _collection(scene, rig))
    character = sweep_now(scene, Request(ALL)).characters[0]
    np.testing.assert_allclose(character.heads[:30], heads, atol=3e-6)
    assert [w for w in character.warnings if "excluded or hidden" in w] == [
        "Keeper lies only in collections that are excluded or hidden; it is measured as it would move if shown"
    ]


@WAYS
def test_things_left_out_are_neither_prop_nor_ground(scene: Any, rig: Any, way: Callable[[Any, Any], None]) -> None:
    floor, lantern = box("Floor", (-3, -3, -0.2), (3, 3, 0)), _moving(box("Lantern", (0, 0, 0), (0.1, 0.1, 0.1)))
    shot = sweep_now(scene, Request(ALL))
    assert [p.name for p in shot.props] == ["Lantern"] and [s.name for s in shot.surfaces] == ["Floor"]
    way(scene, _collection(scene, floor, lantern))
    shot = sweep_now(scene, Request(ALL))
    assert shot.props == () and [s.name for s in shot.surfaces] == [None]
    lantern["plumbline_prop"] = floor["plumbline_ground"] = True  # the person has the last word
    shot = sweep_now(scene, Request(ALL))
    assert [p.name for p in shot.props] == ["Lantern"] and [s.name for s in shot.surfaces] == ["Floor"]


def test_a_thing_that_one_of_its_collections_shows_is_there(scene: Any, rig: Any) -> None:
    floor = box("Floor", (-3, -3, -0.2), (3, 3, 0))
    away = bpy.data.collections.new("Away")
    scene.collection.children.link(away)
    away.objects.link(floor)
    _exclude(scene, away)
    assert [s.name for s in sweep_now(scene, Request(ALL)).surfaces] == ["Floor"]


def test_what_hangs_on_a_rigid_body_is_simulated_too(scene: Any, rig: Any) -> None:
    crate, lid = box("Crate", (-3, -3, -1), (3, 3, 0)), box("Lid", (-3, -3, -0.1), (3, 3, 0))
    bpy.context.view_layer.objects.active = crate
    bpy.ops.rigidbody.object_add()
    lid.parent = crate
    stowaway = figure("Stowaway")
    walk(stowaway)
    stowaway.parent = crate
    shot = sweep_now(scene, Request(ALL))
    assert [c.name for c in shot.characters] == ["Keeper"]
    assert shot.props == () and [s.name for s in shot.surfaces] == [None]
    for name in ("Crate", "Lid", "Stowaway"):
        assert len([r for r in shot.remarks if r.startswith(f"{name} ") and "rigid-body simulation" in r]) == 1
    crate.rigid_body.kinematic = True  # moved by keys, not by the simulation
    shot = sweep_now(scene, Request(ALL))
    assert [c.name for c in shot.characters] == ["Keeper", "Stowaway"] and not shot.remarks


def test_a_hidden_figure_has_its_margin(scene: Any, rig: Any) -> None:
    shown = sweep_now(scene, Request(Need.JOINTS, 14, 18))
    rig.hide_viewport = True
    hidden = sweep_now(scene, Request(Need.JOINTS, 14, 18))
    np.testing.assert_array_equal(hidden.frames, shown.frames)
    assert (shown.frames[0], shown.frames[-1]) == (2, 30)
    np.testing.assert_allclose(hidden.characters[0].heads, shown.characters[0].heads, atol=3e-6)


def test_a_template_is_no_character(scene: Any, rig: Any) -> None:
    """Rigify's meta-rig stays beside the rig that it made; alone, with keys or with a body it is a character."""
    boots(figure("Template"))
    assert {c.name for c in sweep_now(scene, Request(ALL)).characters} == {"Keeper", "Template"}
    for mesh in [o for o in scene.objects if o.type == "MESH"]:
        bpy.data.objects.remove(mesh)
    template = bpy.data.objects["Template"]
    shot = sweep_now(scene, Request(ALL))
    assert [c.name for c in shot.characters] == ["Keeper"]
    assert "Template is not measured: nothing moves it and no mesh hangs on it" in shot.remarks
    bpy.data.objects.remove(rig)
    assert [c.name for c in sweep_now(scene, Request(ALL)).characters] == ["Template"]
    walk(figure())
    template["plumbline_card"] = '{"schema": 1, "height": 1.8}'
    assert {c.name for c in sweep_now(scene, Request(ALL)).characters} == {"Keeper", "Template"}
