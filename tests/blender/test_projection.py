# SPDX-License-Identifier: GPL-3.0-or-later
"""core's projection against Blender's own, over fits, shifts, aspects, orthographic views and scaled, turned
parents."""

import bpy
import numpy as np
import pytest
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Euler, Vector
from plumbline.blender_addon.sampling.camera import CameraReader, camera_at
from plumbline.blender_addon.sampling.probe import probe
from plumbline.core.measures.kisses import view_of
from plumbline.core.numeric.camera import SHORT_SIDE, picture_size


def random_camera(rng: np.random.Generator, number: int, parents: bool = True) -> bpy.types.Object:
    data = bpy.data.cameras.new(f"View {number}")
    data.type = "ORTHO" if rng.random() < 0.3 else "PERSP"
    data.lens, data.ortho_scale = rng.uniform(12, 120), rng.uniform(1, 9)
    data.sensor_fit = ("AUTO", "HORIZONTAL", "VERTICAL")[rng.integers(3)]
    data.sensor_width, data.sensor_height = rng.uniform(15, 40), rng.uniform(10, 40)
    data.shift_x, data.shift_y = rng.uniform(-0.5, 0.5, 2)
    camera = bpy.data.objects.new(data.name, data)
    bpy.context.scene.collection.objects.link(camera)
    camera.location, camera.rotation_euler = rng.normal(0, 4, 3), Euler(rng.uniform(-3, 3, 3))
    camera.scale = rng.uniform(0.5, 2, 3)
    if parents and rng.random() < 0.5:
        parent = bpy.data.objects.new(f"Parent {number}", None)
        bpy.context.scene.collection.objects.link(parent)
        parent.rotation_euler, parent.scale = Euler(rng.uniform(-3, 3, 3)), [rng.uniform(0.3, 3)] * 3
        camera.parent = parent
    return camera


def test_projection_agrees_with_blender() -> None:
    rng = np.random.default_rng(11)
    scene = bpy.context.scene
    worst = 0.0
    for number in range(150):
        scene.render.resolution_x, scene.render.resolution_y = (int(n) for n in rng.integers(200, 2200, 2))
        scene.render.pixel_aspect_x, scene.render.pixel_aspect_y = (1.0, 1.0) if number % 2 else rng.uniform(1, 2, 2)
        scene.camera = camera = random_camera(rng, number)
        bpy.context.view_layer.update()
        reader = CameraReader(scene, [1.0])
        with probe(scene, reader.objects()) as inside:
            reader.read(0, inside.to(1.0))
        sampled = reader.camera()
        assert sampled is not None
        seen = view_of(sampled, 0)
        assert seen is not None
        local = rng.uniform((-2, -2, -12), (2, 2, -1), (20, 3))
        rest = np.array(camera.matrix_world.to_3x3().normalized())
        places = local @ rest.T + np.array(camera.matrix_world.translation)
        x, y, w = seen.project(places)
        size = picture_size(sampled.resolution, sampled.pixel_aspect)
        for k, place in enumerate(places):
            u, v, depth = world_to_camera_view(scene, camera, Vector(place))
            # in the picture's own pixels, beyond its frame as a share of the distance: Blender's numbers are single
            # floats
            out = max(abs(u), abs(v), 1.0) * SHORT_SIDE / min(scene.render.resolution_x, scene.render.resolution_y)
            worst = max(worst, abs(x[k] - u * size[0]) / out, abs(y[k] - v * size[1]) / out)
            assert abs(float(seen.depth(w[k])) - depth) < 1e-4 * max(1.0, depth)
            assert np.abs(seen.place(float(x[k]), float(y[k]), float(seen.depth(w[k]))) - place).max() < 1e-5
        assert min(size) == pytest.approx(SHORT_SIDE)
    assert worst < 0.01, worst


def test_animated_lens_is_read() -> None:
    scene = bpy.context.scene
    scene.camera = camera = random_camera(np.random.default_rng(1), 1, parents=False)
    camera.data.type = "PERSP"
    for frame, lens in ((1, 20.0), (11, 80.0)):
        camera.data.lens = lens
        camera.data.keyframe_insert("lens", frame=frame)
    reader = CameraReader(scene, [1.0, 6.0, 11.0])
    with probe(scene, reader.objects()) as inside:
        for i, frame in enumerate((1.0, 6.0, 11.0)):
            reader.read(i, inside.to(frame))
    sampled = reader.camera()
    assert sampled is not None
    assert sampled.lens_mm == pytest.approx([20.0, 50.0, 80.0], abs=0.01)


def bound(scene: bpy.types.Scene, frame: int, camera: bpy.types.Object | None) -> None:
    scene.timeline_markers.new(f"F{frame}", frame=frame).camera = camera


def test_cuts_follow_markers() -> None:
    scene = bpy.context.scene
    rng = np.random.default_rng(2)
    a, b, c, hidden = (random_camera(rng, n, parents=False) for n in range(4))
    scene.camera = a
    assert camera_at(scene, 5) == a
    hidden.hide_render = True
    bound(scene, 30, c)
    bound(scene, 20, b)
    bound(scene, 20, a)  # two on one frame: the one made first
    bound(scene, 25, None)
    bound(scene, 10, hidden)
    assert camera_at(scene, 5) == b  # before the first: the earliest
    assert camera_at(scene, 19.9) == b
    assert camera_at(scene, 20) == b and camera_at(scene, 29.9) == b and camera_at(scene, 30) == c
    scene.render.frame_map_old, scene.render.frame_map_new = 100, 200
    assert camera_at(scene, 59) == b and camera_at(scene, 60) == c


def test_runs_and_unmarked_jumps() -> None:
    scene = bpy.context.scene
    a, b = (random_camera(np.random.default_rng(n), n, parents=False) for n in (5, 6))
    a.data.type = b.data.type = "PERSP"
    bound(scene, 1, a)
    bound(scene, 5, b)
    for frame, x in ((1, 0.0), (8, 0.0), (9, 4.0), (12, 4.0)):
        b.location.x = x
        b.keyframe_insert("location", frame=frame)
    frames = [float(f) for f in range(1, 13)]
    reader = CameraReader(scene, frames)
    with probe(scene, reader.objects()) as inside:
        for i, frame in enumerate(frames):
            reader.read(i, inside.to(frame))
    sampled = reader.camera()
    assert sampled is not None
    assert sampled.run.tolist() == [0] * 4 + [1] * 4 + [2] * 4
    assert sampled.names == (a.name, b.name, b.name)


def test_no_camera_is_none() -> None:
    scene = bpy.context.scene
    assert CameraReader(scene, [1.0]).camera() is None
    scene.camera = bpy.data.objects.new("Not a camera", None)
    assert CameraReader(scene, [1.0]).camera() is None
