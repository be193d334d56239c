# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys come out of every kind of action with their frames in the scene, and tell what Blender evaluates."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.compat import curves_of
from plumbline.blender_addon.sampling.keys import keys_of
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.need import Need
from plumbline.core.numeric.fcurve import evaluate
from plumbline.core.shot import INTERPOLATIONS, Keys


def _channel(keys: Keys, bone: str, path: str, index: int) -> int:
    return next(k for k, c in enumerate(keys.channels) if (c.bone, c.path, c.index) == (bone, path, index))


def test_columns_are_blenders(scene: Any, rig: Any) -> None:
    curve = next(c for c, _ in curves_of(rig) if "shin.L" in c.data_path and c.array_index == 0)
    for k, (name, easing) in enumerate(
        [
            ("SINE", "EASE_IN"),
            ("ELASTIC", "EASE_OUT"),
            ("BACK", "AUTO"),
            ("CONSTANT", "AUTO"),
            ("LINEAR", "AUTO"),
            ("BEZIER", "AUTO"),
        ]
    ):
        curve.keyframe_points[k].interpolation, curve.keyframe_points[k].easing = name, easing
    curve.keyframe_points[1].amplitude, curve.keyframe_points[1].period, curve.keyframe_points[2].back = 0.3, 2.5, 3.0
    keys = keys_of([rig], scene)
    rows = keys.of(_channel(keys, "shin.L", "rotation_euler", 0))
    points = curve.keyframe_points
    np.testing.assert_allclose(keys.scene_frame[rows], [p.co.x for p in points])
    np.testing.assert_allclose(keys.value[rows], [p.co.y for p in points], atol=1e-7)
    np.testing.assert_allclose(keys.left[rows], [tuple(p.handle_left) for p in points], atol=1e-6)
    np.testing.assert_allclose(keys.right[rows], [tuple(p.handle_right) for p in points], atol=1e-6)
    assert [INTERPOLATIONS[i] for i in keys.interpolation[rows]] == [p.interpolation for p in points]
    assert [("AUTO", "EASE_IN", "EASE_OUT", "EASE_IN_OUT")[i] for i in keys.easing[rows]] == [p.easing for p in points]
    for name in ("back", "amplitude", "period"):
        np.testing.assert_allclose(getattr(keys, name)[rows], [getattr(p, name) for p in points], atol=1e-6)
    frames = np.arange(1, 31, 0.25)
    np.testing.assert_allclose(
        evaluate(keys, _channel(keys, "shin.L", "rotation_euler", 0), frames),
        [curve.evaluate(f) for f in frames],
        atol=2e-5,
    )
    assert all(keys.plain) and (np.diff(keys.channel) >= 0).all()


def test_evaluate_as_blender_does(scene: Any, rig: Any) -> None:
    keys = keys_of([rig], scene)
    frames = np.arange(1, 31, 0.25)
    curves = {(c.data_path, c.array_index): c for c, _ in curves_of(rig)}
    assert len(keys.channels) == len(curves)
    for k, channel in enumerate(keys.channels):
        path = f'pose.bones["{channel.bone}"].{channel.path}'
        said = [curves[path, channel.index].evaluate(f) for f in frames]
        np.testing.assert_allclose(evaluate(keys, k, frames), said, atol=2e-5)


@pytest.mark.parametrize(("apart", "kind"), [(1.0, "LINEAR"), (2.0, "SINE")])
def test_of_baked_keys_only_frames_and_values_are_read(scene: Any, rig: Any, apart: float, kind: str) -> None:
    """A key on every frame is taken for linear, whatever it says; keys on every second frame are read whole."""
    curve = next(c for c, _ in curves_of(rig) if "shin.L" in c.data_path and c.array_index == 0)
    count = 20
    curve.keyframe_points.clear()
    curve.keyframe_points.add(count)
    for k, point in enumerate(curve.keyframe_points):
        point.co, point.interpolation = (1 + apart * k, 0.1 * np.sin(k)), "SINE"
    curve.update()
    keys = keys_of([rig], scene)
    rows = keys.of(_channel(keys, "shin.L", "rotation_euler", 0))
    np.testing.assert_allclose(keys.scene_frame[rows], 1 + apart * np.arange(count))
    np.testing.assert_allclose(keys.value[rows], 0.1 * np.sin(np.arange(count)), atol=1e-6)
    assert {INTERPOLATIONS[i] for i in keys.interpolation[rows]} == {kind}
    if kind == "LINEAR":
        np.testing.assert_array_equal(keys.left[rows], np.stack([keys.scene_frame[rows], keys.value[rows]], 1))


def test_within_keeps_whole_segments(scene: Any, rig: Any) -> None:
    keys = keys_of([rig], scene, (8.0, 12.0))
    assert set(keys.scene_frame) == {6.0, 11.0, 16.0}
    exact = keys_of([rig], scene, (6.0, 11.0))
    assert {6.0, 11.0} <= set(exact.scene_frame)


def _to_strip(rig: Any) -> Any:
    data = rig.animation_data
    action = data.action
    slot = getattr(data, "action_slot", None)
    data.action = None
    strip = data.nla_tracks.new().strips.new("walk", 1, action)
    if slot is not None:
        strip.action_slot = slot
    return strip


def test_strips_are_mapped(scene: Any, rig: Any) -> None:
    strip = _to_strip(rig)
    strip.action_frame_start, strip.action_frame_end = 1, 31
    strip.scale = 2.0
    strip.frame_start_ui = 11
    strip.extrapolation = "NOTHING"
    keys = keys_of([rig], scene)
    k = _channel(keys, "root", "location", 1)
    rows = keys.of(k)
    np.testing.assert_allclose(keys.action_frame[rows], [1, 6, 11, 16, 21, 26, 31])
    np.testing.assert_allclose(keys.scene_frame[rows], 11 + 2 * (keys.action_frame[rows] - 1), atol=1e-4)
    assert keys.channels[k].strip == "walk" and keys.plain[k]
    for frame in (11, 20, 31, 44):
        scene.frame_set(frame)
        ev = rig.evaluated_get(bpy.context.evaluated_depsgraph_get())
        assert ev.pose.bones["root"].location[1] == pytest.approx(
            float(evaluate(keys, k, np.array([float(frame)]))[0]), abs=1e-5
        )


def test_what_is_not_plain(scene: Any, rig: Any) -> None:
    curves = {(c.data_path, c.array_index): c for c, _ in curves_of(rig)}
    curves['pose.bones["shin.L"].rotation_euler', 0].modifiers.new("CYCLES")
    keys = keys_of([rig], scene)
    plain = {(c.bone, c.path, c.index): p for c, p in zip(keys.channels, keys.plain, strict=True)}
    assert not plain["shin.L", "rotation_euler", 0]
    assert plain["shin.R", "rotation_euler", 0]
    strip = _to_strip(rig)
    assert sum(keys_of([rig], scene).plain) == len(keys.channels) - 1
    strip.use_animated_influence = True
    assert not any(keys_of([rig], scene).plain)


def test_muted_strips_play_nothing(scene: Any, rig: Any) -> None:
    strip = _to_strip(rig)
    strip.mute = True
    assert len(keys_of([rig], scene).value) == 0


def test_tweak_mode(scene: Any, rig: Any) -> None:
    """A strip being tweaked plays its action through the strip: keys keep their place in the scene."""
    scene.frame_end = 50
    strip = _to_strip(rig)
    strip.action_frame_start, strip.action_frame_end, strip.scale, strip.frame_start_ui = 1, 31, 1.5, 6
    whole = keys_of([rig], scene)
    places = sweep_now(scene, Request(Need.JOINTS)).characters[0].heads
    data = rig.animation_data
    data.nla_tracks.active, strip.select = data.nla_tracks[0], True
    data.use_tweak_mode = True
    assert data.use_tweak_mode and data.action is not None
    keys = keys_of([rig], scene)
    assert len(keys.channels) == len(whole.channels) and {c.strip for c in keys.channels} == {"walk"}
    np.testing.assert_allclose(keys.scene_frame, whole.scene_frame)
    k = _channel(keys, "root", "location", 1)
    for frame in (6, 20, 40):
        scene.frame_set(frame)
        ev = rig.evaluated_get(bpy.context.evaluated_depsgraph_get())
        assert ev.pose.bones["root"].location[1] == pytest.approx(
            float(evaluate(keys, k, np.array([float(frame)]))[0]), abs=1e-5
        )
    np.testing.assert_allclose(sweep_now(scene, Request(Need.JOINTS)).characters[0].heads, places, atol=1e-6)
    assert data.use_tweak_mode


def test_time_remapping(scene: Any, rig: Any) -> None:
    scene.render.frame_map_old, scene.render.frame_map_new = 100, 150
    keys = keys_of([rig], scene)
    k = _channel(keys, "root", "location", 1)
    for frame in (2, 13, 40):
        scene.frame_set(frame)
        assert rig.pose.bones["root"].location[1] == pytest.approx(
            float(evaluate(keys, k, np.array([float(frame)]))[0]), abs=1e-5
        )


def test_a_shared_action_gives_each_its_own_slot(scene: Any, rig: Any) -> None:
    """Where actions have slots, another object's curves in the same action are not taken for this one's."""
    action = rig.animation_data.action
    lamp = bpy.data.objects.new("Lamp", None)
    scene.collection.objects.link(lamp)
    lamp.animation_data_create().action = action
    if hasattr(action, "slots"):
        slot = action.slots.new(id_type="OBJECT", name="Lamp")
        lamp.animation_data.action_slot = slot
        lamp.keyframe_insert("location", frame=3)
        assert {c.path for c in keys_of([lamp], scene).channels} == {"location"}
        assert all(c.bone for c in keys_of([rig], scene).channels)
        assert {c.slot for c in keys_of([lamp], scene).channels} == {"Lamp"}
