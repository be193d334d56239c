# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of notes from real Blender: what is seen, where the evidence lands, and that nothing stays behind."""

import ctypes
import os
import sys

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import stills
from plumbline.core.evidence import Point
from plumbline.core.note import Note, Severity
from plumbline.core.palette import LANE_COLORS
from plumbline.core.shot import Camera, Shot


def note(place):
    return Note(
        "slip",
        "Contacts",
        "",
        "foot.L",
        5,
        9,
        7,
        Severity.HIGH,
        0.05,
        0.04,
        "m",
        "a table",
        "Left foot slips",
        None,
        (Point("found", (5, 9), (place,)),),
    )


def a_cube(camera=True):
    """A cube of 0.6 m that goes from x = 0 to 1 m in frames 1 to 11, 0.648 m at frame 7, and a camera that looks
    there."""
    scene = bpy.context.scene
    bpy.ops.mesh.primitive_cube_add(size=0.6)
    cube = bpy.context.object
    for frame, x in ((1, 0.0), (11, 1.0)):
        cube.location.x = x
        cube.keyframe_insert("location", frame=frame)
    assert cube.location.x == 1.0
    scene.render.resolution_x, scene.render.resolution_y = 640, 360
    if camera:
        data = bpy.data.cameras.new("cam")
        thing = bpy.data.objects.new("cam", data)
        scene.collection.objects.link(thing)
        thing.location, thing.rotation_euler = (0.648, -6.0, 0.0), (np.pi / 2, 0, 0)
        scene.camera = thing
    bpy.context.view_layer.update()
    return scene


def shot_of(scene, unit=1.0):
    frames = np.arange(1.0, 13.0)
    camera = None
    if scene.camera:
        world = np.array(scene.camera.matrix_world)
        f = len(frames)
        camera = Camera(
            ("cam",),
            np.zeros(f, int),
            ("PERSP",),
            ("AUTO",),
            np.repeat(world[None], f, 0),
            np.full(f, 50.0),
            np.ones(f),
            np.tile([36.0, 24.0], (f, 1)),
            np.zeros((f, 2)),
            np.array([640.0, 360.0]),
            np.ones(2),
        )
    return Shot("test", frames, 24.0, (), camera=camera, unit_scale=unit)


def read(path):
    image = bpy.data.images.load(str(path))
    image.colorspace_settings.name = "Non-Color"
    pixels = np.array(image.pixels[:]).reshape(image.size[1], image.size[0], -1)[::-1, :, :3]
    bpy.data.images.remove(image)
    return pixels


needs_egl = pytest.mark.skipif(
    sys.platform.startswith("linux")
    and not any(
        os.path.exists(os.path.join(folder, "libEGL.so.1"))
        for folder in ("/usr/lib/x86_64-linux-gnu", "/usr/lib64", "/usr/lib", "/usr/lib/aarch64-linux-gnu")
    ),
    reason="Blender aborts without libEGL",
)


@needs_egl
def test_evidence_lies_on_the_thing_it_is_about(tmp_path):
    scene = a_cube()
    stills.picture(scene, shot_of(scene), note((0.648, -0.3, 0.0)), tmp_path / "note.png")  # frame 7: the cube's front
    pixels = read(tmp_path / "note.png")
    assert pixels.shape == (720, 1280, 3)
    lane = np.abs(pixels - LANE_COLORS["Contacts"]).max(axis=2) < 0.02
    near = lane[340:380, 620:660]
    assert near.sum() > 20, "the disc in the middle"
    background = pixels[5, 5]
    width = 0.6 / 5.7 * 50 / 36 * 1280  # of the cube's front face in the picture
    row = np.abs(pixels[430] - background).max(axis=1) > 0.05
    across = np.flatnonzero(row)
    assert (across.min(), across.max()) == pytest.approx((640 - width / 2, 640 + width / 2), abs=2), (
        "the cube of that frame, not of another"
    )


@needs_egl
def test_another_frame_may_be_asked_for(tmp_path):
    scene = a_cube()
    pixels = stills.still(scene, 11, (1280, 720), None, 1.0)
    across = np.flatnonzero(np.abs(pixels[430] - pixels[5, 5]).max(axis=1) > 0.05)
    assert across.mean() == pytest.approx(640 + (1 - 0.648) / 5.7 * 50 / 36 * 1280, abs=3)


@needs_egl
def test_a_shot_without_a_camera_gets_a_view(tmp_path):
    scene = a_cube(camera=False)
    stills.picture(scene, shot_of(scene), note((0.6, 0.0, 0.3)), tmp_path / "note.png")
    pixels = read(tmp_path / "note.png")
    lane = np.abs(pixels - LANE_COLORS["Contacts"]).max(axis=2) < 0.02
    assert lane[300:420, 560:720].sum() > 20
    assert np.ptp(pixels[200:500, 400:900]) > 0.1


@needs_egl
@pytest.mark.parametrize("camera", [True, False])
def test_nothing_stays_behind(tmp_path, camera):
    scene = a_cube(camera)
    scene.frame_set(3)
    scene.timeline_markers.new("beat", frame=4)

    def names():
        return {
            kind: sorted(d.name for d in getattr(bpy.data, kind))
            for kind in ("scenes", "objects", "cameras", "images", "worlds", "actions", "meshes")
        }

    at = bpy.data.objects["Cube"].location.x
    before = names(), scene.render.engine, scene.render.filepath, scene.camera, len(scene.timeline_markers)
    stills.picture(scene, shot_of(scene), note((0.6, 0.0, 0.3)), tmp_path / "note.png")
    assert (names(), scene.render.engine, scene.render.filepath, scene.camera, len(scene.timeline_markers)) == before
    assert scene.frame_current == 3
    assert bpy.data.objects["Cube"].location.x == at
    assert os.listdir(tmp_path) == ["note.png"]


def test_without_the_system_library_pictures_are_left_out_and_that_is_said(tmp_path, monkeypatch):
    scene = a_cube()

    def missing(name):
        raise OSError(f"{name}: cannot open shared object file")

    monkeypatch.setattr(ctypes, "CDLL", missing)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(stills.NoPictures, match="left out: the system library libEGL"):
        stills.picture(scene, shot_of(scene), note((0.6, 0.0, 0.0)), tmp_path / "note.png")
    assert not os.listdir(tmp_path)
