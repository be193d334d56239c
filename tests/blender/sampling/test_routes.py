# SPDX-License-Identifier: GPL-3.0-or-later
"""What goes by its keys and what must be stepped: all that keys do not tell.

The oracle is the sweep that steps every frame.
"""

from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.compat import curves_of
from plumbline.blender_addon.sampling.probe import probe

from .figure import boots, figure, key, walk
from .watching import FEW, Watch, camera, lantern, same, stepped


def test_a_shot_of_keys_alone_is_not_stepped(scene: Any, rig: Any, watch: Watch) -> None:
    boots(rig)
    lantern(scene)
    camera(scene)
    shot = watch.sweep(scene)
    assert watch.frames <= FEW and not watch.reasons
    assert [p.name for p in shot.props] == ["Lantern"] and shot.camera is not None
    same(shot, stepped(scene))


def test_cuts_by_markers(scene: Any, rig: Any, watch: Watch) -> None:
    camera(scene)
    other = camera(scene, "Other")
    other.data.lens = 85.0
    for frame, one in ((1, scene.camera), (17, other)):
        scene.timeline_markers.new("cut", frame=frame).camera = one
    shot = watch.sweep(scene)
    assert watch.frames <= FEW and shot.camera is not None and shot.camera.names == ("Camera", "Other")
    same(shot, stepped(scene))


def test_too_few_frames_are_stepped(scene: Any, rig: Any, watch: Watch) -> None:
    shot = watch.sweep(scene, first=1, last=6)
    assert len(shot.frames) <= watch.frames


def _driver(rig: Any) -> None:
    rig.pose.bones["foot.L"].driver_add("rotation_euler", 0).driver.expression = "0.3"


def _data_driver(rig: Any) -> None:
    rig.data.driver_add("show_names").driver.expression = "1"


def _ik(rig: Any) -> None:
    target = bpy.data.objects.new("Target", None)
    bpy.context.scene.collection.objects.link(target)
    constraint = rig.pose.bones["shin.L"].constraints.new("IK")
    constraint.target, constraint.chain_count = target, 2


def _limit(rig: Any) -> None:
    rig.pose.bones["pelvis"].constraints.new("LIMIT_ROTATION").use_limit_x = True


def _tracked(rig: Any) -> None:
    target = bpy.data.objects.new("Target", None)
    bpy.context.scene.collection.objects.link(target)
    rig.constraints.new("COPY_LOCATION").target = target


def _cycles(rig: Any) -> None:
    next(curves_of(rig))[0].modifiers.new("CYCLES")


def _strip(rig: Any) -> None:
    data = rig.animation_data
    action, slot = data.action, getattr(data, "action_slot", None)
    data.action = None
    strip = data.nla_tracks.new().strips.new("strip", 1, action)
    if slot is not None:
        strip.action_slot = slot


def _over_a_strip(rig: Any) -> None:
    rig.animation_data.nla_tracks.new().strips.new("below", 1, bpy.data.actions.new("empty"))


def _tweaked(rig: Any) -> None:
    _strip(rig)
    rig.animation_data.nla_tracks[0].strips[0].select = True
    rig.animation_data.nla_tracks.active = rig.animation_data.nla_tracks[0]
    rig.animation_data.use_tweak_mode = True


def _in_part(rig: Any) -> None:
    rig.animation_data.action_influence = 0.5


def _hinged(rig: Any) -> None:
    rig.data.bones["thigh.L"].use_inherit_rotation = False


def _scale_not_inherited(rig: Any) -> None:
    rig.data.bones["thigh.L"].inherit_scale = "NONE"


def _delta(rig: Any) -> None:
    rig.delta_location = (0.0, 0.0, 0.2)


def _order_animated(rig: Any) -> None:
    bone = rig.pose.bones["thigh.L"]
    for frame, mode in ((1, "XYZ"), (15, "ZYX")):
        bone.rotation_mode = mode
        bone.keyframe_insert("rotation_mode", frame=frame)


def _on_a_bone(rig: Any) -> None:
    other = figure("Mount")
    walk(other)
    rig.parent, rig.parent_type, rig.parent_bone = other, "BONE", "pelvis"


def _influence_animated(rig: Any) -> None:
    constraint = rig.pose.bones["pelvis"].constraints.new("LIMIT_ROTATION")
    constraint.use_limit_x = True
    for frame, muted in ((1, True), (12, False)):
        constraint.mute = muted
        constraint.keyframe_insert("mute", frame=frame)


def _baked_between(rig: Any) -> None:
    for n in range(60):
        key(rig, "root", "location", 1.3 + 0.6 * n, (0, 0.3 * np.sin(n), 0))


STEPPED = [
    (_driver, "drivers"),
    (_data_driver, "armature data"),
    (_ik, "constraints on shin.L"),
    (_limit, "constraints on pelvis"),
    (_tracked, "has constraints"),
    (_cycles, "modifiers"),
    (_strip, "NLA strips"),
    (_over_a_strip, "NLA strips"),
    (_tweaked, "tweak mode"),
    (_in_part, "in part"),
    (_hinged, "inherit only part"),
    (_scale_not_inherited, "inherit only part"),
    (_delta, "delta"),
    (_order_animated, "rotation_mode animated"),
    (_on_a_bone, "hangs on its parent by bone"),
    (_influence_animated, "constraints animated"),
    (_baked_between, "between the frames"),
]


@pytest.mark.parametrize(("change", "why"), STEPPED, ids=[change.__name__[1:] for change, _ in STEPPED])
def test_what_keys_do_not_tell_is_stepped(
    scene: Any, rig: Any, watch: Watch, change: Callable[[Any], None], why: str
) -> None:
    change(rig)
    shot = watch.sweep(scene, characters=("Keeper",))
    assert why in watch.reasons["Keeper"]
    assert watch.frames >= len(shot.frames)
    same(shot, stepped(scene, characters=("Keeper",)), atol=0)


def _muted_constraint(rig: Any) -> None:
    _limit(rig)
    rig.pose.bones["pelvis"].constraints[0].mute = True


def _muted_curve(rig: Any) -> None:
    for curve, _ in curves_of(rig):
        curve.mute = curve.array_index == 0


def _muted_modifier(rig: Any) -> None:
    _cycles(rig)
    next(curves_of(rig))[0].modifiers[0].mute = True


def _straight_on(rig: Any) -> None:
    for curve, _ in curves_of(rig):
        curve.extrapolation = "LINEAR"


def _sub_frames(rig: Any) -> None:
    for frame in (3.4, 9.25, 17.8):
        key(rig, "spine", "rotation_euler", frame, (0.1 * frame, 0.0, 0.2))


def _own_property(rig: Any) -> None:
    for owner in (rig, rig.pose.bones["pelvis"]):
        for frame in (1, 20):
            owner["oil"] = float(frame)
            owner.keyframe_insert('["oil"]', frame=frame)


def _ruled_by_an_empty(rig: Any) -> None:
    ruler = bpy.data.objects.new("Ruler", None)
    bpy.context.scene.collection.objects.link(ruler)
    rig.parent, rig.scale = ruler, (1.1, 1.1, 1.1)
    for frame in (1, 25):
        ruler.location, ruler.rotation_euler = (0.1 * frame, 0, 0), (0, 0, 0.05 * frame)
        for path in ("location", "rotation_euler"):
            ruler.keyframe_insert(path, frame=frame)


def _hidden(rig: Any) -> None:
    rig.hide_viewport = True


def _remapped(rig: Any) -> None:
    bpy.context.scene.render.frame_map_old, bpy.context.scene.render.frame_map_new = 100, 150


def _preview(rig: Any) -> None:
    scene = bpy.context.scene
    scene.use_preview_range, scene.frame_preview_start, scene.frame_preview_end = True, 3, 26


def _no_keys(rig: Any) -> None:
    rig.animation_data_clear()


def _other_slot(rig: Any) -> None:
    """In Blenders that have slots, a second figure plays the same action by a slot of its own."""
    data = rig.animation_data
    if not hasattr(data, "action_slot"):
        pytest.skip("this Blender has no slots")
    mate = figure("Mate")
    slot = data.action.slots.new("OBJECT", "Mate")
    mate.animation_data_create().action = data.action
    mate.animation_data.action_slot = slot
    key(mate, "pelvis", "rotation_euler", 4, (0.0, 0.0, 0.0))
    key(mate, "pelvis", "rotation_euler", 22, (0.0, 0.4, 1.0))


PLAIN = [
    *(_muted_constraint, _muted_curve, _muted_modifier, _straight_on, _sub_frames, _own_property),
    *(_ruled_by_an_empty, _hidden, _remapped, _preview, _no_keys, _other_slot),
]


@pytest.mark.parametrize("change", PLAIN, ids=[change.__name__[1:] for change in PLAIN])
def test_what_changes_nothing_is_not_stepped(
    scene: Any, rig: Any, watch: Watch, change: Callable[[Any], None]
) -> None:
    change(rig)
    bpy.context.view_layer.update()
    shot = watch.sweep(scene)
    assert not watch.reasons and watch.frames <= FEW + 1
    same(shot, stepped(scene))


def test_of_two_figures_one_is_stepped(scene: Any, rig: Any, watch: Watch) -> None:
    mate = figure("Mate")
    mate.location.x = 2.0
    walk(mate)
    _ik(mate)
    camera(scene)
    lantern(scene)
    shot = watch.sweep(scene)
    assert set(watch.reasons) == {"Mate"} and watch.frames >= len(shot.frames)
    same(shot, stepped(scene))


def test_a_camera_that_tracks_is_stepped_and_the_figure_is_not(scene: Any, rig: Any, watch: Watch) -> None:
    track = camera(scene).constraints.new("TRACK_TO")
    track.target, track.subtarget = rig, "head"
    shot = watch.sweep(scene)
    assert set(watch.reasons) == {"Camera"}
    same(shot, stepped(scene))


def test_a_lens_that_zooms_is_stepped(scene: Any, rig: Any, watch: Watch) -> None:
    data = camera(scene).data
    for frame, lens in ((1, 35.0), (30, 90.0)):
        data.lens = lens
        data.keyframe_insert("lens", frame=frame)
    shot = watch.sweep(scene)
    assert "lens" in watch.reasons["camera"] and shot.camera is not None and np.ptp(shot.camera.lens_mm) > 50
    same(shot, stepped(scene))


def test_an_instance_moves_with_its_carrier(scene: Any, watch: Watch) -> None:
    rig = figure()
    walk(rig)
    scene.collection.objects.unlink(rig)
    group = bpy.data.collections.new("Crew")
    group.objects.link(rig)
    carrier = bpy.data.objects.new("Boat", None)
    carrier.instance_type, carrier.instance_collection = "COLLECTION", group
    scene.collection.objects.link(carrier)
    for frame in (1, 30):
        carrier.location = (0.1 * frame, 0, 0)
        carrier.keyframe_insert("location", frame=frame)
    shot = watch.sweep(scene)
    assert not watch.reasons and watch.frames <= FEW
    same(shot, stepped(scene))


def test_a_skin_follows_a_figure_that_was_taken_out(scene: Any, rig: Any) -> None:
    """The outlines read skins after the poses: their armatures come back by themselves."""
    mesh = boots(rig)

    def points(graph: Any) -> np.ndarray:
        now = mesh.evaluated_get(graph)
        return np.array([now.matrix_world @ vertex.co for vertex in now.data.vertices])

    with probe(scene, [rig]) as inside:
        inside.to(1)
        inside.unlink([rig])
        inside.link([mesh])
        here = points(inside.to(20))
    scene.frame_set(20)
    np.testing.assert_allclose(here, points(bpy.context.evaluated_depsgraph_get()), atol=1e-6)
    scene.frame_set(1)
    assert np.abs(here - points(bpy.context.evaluated_depsgraph_get())).max() > 0.1
