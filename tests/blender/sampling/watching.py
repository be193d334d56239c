# SPDX-License-Identifier: GPL-3.0-or-later
"""What tests of the routes share: a look at what a sweep did, the sweep that steps all frames, and things that move."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling import routes
from plumbline.blender_addon.sampling.probe import Probe
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.need import Need
from plumbline.core.shot import Shot

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS | Need.CAMERA
#: Frames on which the proof looks, one more that builds the graph, and one for the ground.
FEW = 12


class Watch:
    """What a sweep did: on how many frames it had Blender evaluate, and why something was stepped."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.frames, self.reasons = 0, dict[str, str]()
        going, filling = Probe.to, routes.Routes.fill

        def to(probe: Probe, frame: float) -> Any:
            self.frames += 1
            return going(probe, frame)

        def fill(route: routes.Routes, *rest: Any) -> Any:
            yield from filling(route, *rest)
            self.reasons = route.reasons

        monkeypatch.setattr(Probe, "to", to)
        monkeypatch.setattr(routes.Routes, "fill", fill)

    def sweep(self, scene: Any, **words: Any) -> Shot:
        self.frames = 0
        return sweep_now(scene, Request(ALL, **words))


def stepped(scene: Any, **words: Any) -> Shot:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(routes, "FEWEST", 100_000)
        return sweep_now(scene, Request(ALL, **words))


def same(one: Shot, other: Shot, atol: float = 1e-5) -> None:
    assert one.frames.tolist() == other.frames.tolist()
    assert [c.name for c in one.characters] == [c.name for c in other.characters]
    for a, b in zip(one.characters, other.characters, strict=True):
        for name in ("heads", "tails", "axes", "twist_axes", "rest_heads", "rest_axes", "scale"):
            np.testing.assert_allclose(getattr(a, name), getattr(b, name), atol=atol, err_msg=name)
        assert a.height == pytest.approx(b.height) and len(a.soles) == len(b.soles)
    assert [(p.name, p.why) for p in one.props] == [(p.name, p.why) for p in other.props]
    for a, b in zip(one.props, other.props, strict=True):
        np.testing.assert_allclose(a.origin, b.origin, atol=atol)
        np.testing.assert_allclose(a.axes, b.axes, atol=atol)
    assert [s.name for s in one.surfaces] == [s.name for s in other.surfaces]
    assert (one.camera is None) == (other.camera is None)
    if one.camera is not None and other.camera is not None:
        assert one.camera.names == other.camera.names
        for name in ("run", "world_from_camera", "lens_mm", "sensor_mm", "shift"):
            np.testing.assert_allclose(getattr(one.camera, name), getattr(other.camera, name), atol=atol, err_msg=name)


def lantern(scene: Any) -> Any:
    """A prop that swings on a hook of its own."""
    mesh = bpy.data.meshes.new("Lantern")
    mesh.from_pydata([(-0.1, 0, 0), (0.1, 0, 0), (0, 0.1, 0.3)], [], [(0, 1, 2)])
    hook, thing = bpy.data.objects.new("Hook", None), bpy.data.objects.new("Lantern", mesh)
    for object in (hook, thing):
        scene.collection.objects.link(object)
    hook.location, thing.parent = (2.0, 1.0, 1.5), hook
    for frame in (1, 14, 33):
        hook.rotation_euler = (0.1 * frame, 0.0, 0.2)
        hook.keyframe_insert("rotation_euler", frame=frame)
    return thing


def camera(scene: Any, name: str = "Camera") -> Any:
    object = bpy.data.objects.new(name, bpy.data.cameras.new(name))
    scene.collection.objects.link(object)
    object.rotation_euler = (1.4, 0, 0.1)
    for frame in (1, 20, 40):
        object.location = (0.02 * frame, -6, 1.4)
        object.keyframe_insert("location", frame=frame)
    scene.camera = scene.camera or object
    return object
