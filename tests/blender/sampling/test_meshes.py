# SPDX-License-Identifier: GPL-3.0-or-later
"""Kisses planted in real Blender: a skinned figure of our own, a lantern, a camera, and a gap that is set by the
picture.

The gap is set by an oracle of its own: hulls of vertices projected by the matrix that Blender gives for its camera.
"""

from dataclasses import dataclass
from functools import partial
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Matrix, Vector
from plumbline.blender_addon.sampling import kisses
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.catalogue import catalogue
from plumbline.core.kiss import Kisses
from plumbline.core.note import Note, Result
from plumbline.core.runner import finish
from plumbline.core.shot import Shot
from plumbline.core.testing.hulls import hull
from plumbline.core.testing.pods import block, pod, radius
from plumbline.core.testing.puppet import adult

from ..kiss_plants import brought, seen
from ..skinned import armature, skin, solid

Array = np.ndarray
FRAMES, HEIGHT = 30, 1.75


def figure() -> Any:
    """The keeper: an armature with the parts' own names, under one skin of round pods."""
    puppet, scene = adult(), bpy.context.scene
    bones = {part: (puppet.heads[i], puppet.tails[i]) for i, part in enumerate(puppet.parts)}
    rig = armature(scene, "Keeper", bones)
    skin(scene, rig, {part: pod(*ends, radius(part, HEIGHT), 12, 16) for part, ends in bones.items()})
    return rig


def box(name: str, size: tuple[float, float, float]) -> Any:
    return solid(bpy.context.scene, name, block(*size))


@dataclass
class Stage:
    scene: Any
    rig: Any
    skin: Any
    lantern: Any
    camera: Any


def stage(azimuth: float = 35.0, lens: float = 50.0, resolution: tuple[int, int] = (1920, 1080)) -> Stage:
    """The figure leans and turns its head a little while its camera drifts; nothing is near its head."""
    scene = bpy.context.scene
    scene.render.fps = 24
    scene.render.resolution_x, scene.render.resolution_y = resolution
    scene.frame_start, scene.frame_end = 1, FRAMES
    rig = figure()
    for bone, axis, swing in (("spine", 0, 4.0), ("chest", 2, 6.0), ("head", 2, 5.0)):
        pose = rig.pose.bones[bone]
        pose.rotation_mode = "XYZ"
        for frame, sign in ((1, -1.0), (15, 1.0), (FRAMES, -1.0)):
            pose.rotation_euler[axis] = np.radians(swing) * sign
            pose.keyframe_insert("rotation_euler", index=axis, frame=frame)
    lantern = box("Lantern", (0.06, 0.06, 0.2))
    lantern["plumbline_prop"] = True
    data = bpy.data.cameras.new("View")
    data.lens = lens
    camera = bpy.data.objects.new("View", data)
    scene.collection.objects.link(camera)
    a = np.radians(azimuth)
    for frame, sway in ((1, 0.0), (FRAMES, 0.1)):
        place = Vector((3.6 * np.sin(a) + sway, -3.6 * np.cos(a), 1.5))
        camera.location = place
        camera.rotation_euler = (Vector((0, 0, 1.25)) - place).to_track_quat("-Z", "Y").to_euler()
        camera.keyframe_insert("location", frame=frame)
        camera.keyframe_insert("rotation_euler", frame=frame)
    scene.camera = camera
    return Stage(scene, rig, bpy.data.objects["Keeper skin"], lantern, camera)


def plant(s: Stage, gap: float, first: int, held: int, nearer: float, direction: float, leave: float = 5.0) -> None:
    """Keys the lantern beside the head's outline: ``gap`` px for ``held`` frames, coming and leaving by ``leave`` px a
    frame.

    nearer: meters by which it stands before the head (negative: behind); direction: degrees in the picture from the
    head.
    """
    way = np.array([np.cos(np.radians(direction)), np.sin(np.radians(direction))])
    count = len(s.skin.data.vertices)
    rows = [v.index for v in s.skin.data.vertices if s.skin.vertex_groups[v.groups[0].group].name in ("head", "neck")]
    lantern = np.array([tuple(v.co) for v in s.lantern.data.vertices])
    for frame in range(1, FRAMES + 1):
        s.scene.frame_set(frame)
        graph = bpy.context.evaluated_depsgraph_get()
        skin = s.skin.evaluated_get(graph)
        assert len(skin.data.vertices) == count
        places = np.empty(3 * count, np.float32)
        skin.data.vertices.foreach_get("co", places)
        world = np.array(skin.matrix_world)
        head = places.reshape(-1, 3)[rows] @ world[:3, :3].T + world[:3, 3]
        outline = hull(seen(s.scene, s.camera, head))
        eye, middle = np.array(s.camera.matrix_world.translation), head.mean(axis=0)
        ray = (eye - middle) / np.linalg.norm(eye - middle)
        across = np.array(s.camera.matrix_world)[:3, :2] @ way
        away = max(first - frame, frame - (first + held - 1), 0)
        s.lantern.location = brought(
            outline, lantern, partial(seen, s.scene, s.camera), (middle + ray * nearer, across), gap + leave * away, 1.0
        )
        s.lantern.keyframe_insert("location", frame=frame)


def reviewed(s: Stage) -> tuple[Shot, Result]:
    shot = sweep_now(s.scene, Request(catalogue()["tangent"].needs()))
    result = finish(shot, [catalogue()["tangent"]])
    assert not result.failed, result.failed[0].trace
    return shot, result


SETUPS = [(35.0, 0.45, 10.0), (35.0, -0.35, 160.0), (90.0, 0.45, 40.0), (-30.0, 0.45, 175.0), (0.0, -0.35, 35.0)]
FEW = SETUPS[::2]


@pytest.mark.parametrize("setup", range(len(SETUPS)))
@pytest.mark.parametrize("turn", range(2))
def test_a_kiss_is_found_with_its_span_and_gap(setup: int, turn: int) -> None:
    """Two gaps in each setup, each gap in two or three."""
    gap = (-1.0, 0.0, 1.0, 2.0)[(2 * setup + setup // 2 + turn) % 4]
    azimuth, nearer, direction = SETUPS[setup]
    s = stage(azimuth)
    plant(s, gap, first=11, held=8, nearer=nearer, direction=direction)
    _, result = reviewed(s)
    assert len(result.notes) == 1, (result.notes, result.skipped)
    note = result.notes[0]
    assert note.part in ("head", "neck") and note.character == "Keeper" and "Lantern" in note.parts
    assert abs(note.start - 11) <= 1 and abs(note.end - 18) <= 1, (note.start, note.end)
    assert 11 <= note.worst <= 18
    assert abs(note.measured - gap) <= 0.6, note.measured
    assert note.severity == "medium"


@pytest.mark.parametrize("azimuth,nearer,direction", FEW)
@pytest.mark.parametrize("gap", [-12.0, 4.0, 8.0])
def test_clear_and_overlapping_outlines_are_no_kiss(
    azimuth: float, nearer: float, direction: float, gap: float
) -> None:
    s = stage(azimuth)
    plant(s, gap, first=1, held=FRAMES, nearer=nearer, direction=direction)
    _, result = reviewed(s)
    # Beside the head the lantern's lower corner may truly touch the shoulder behind it.
    notes = [n for n in result.notes if n.part in ("head", "neck")]
    assert not notes, [n.text for n in notes]


def test_a_quick_crossing_is_silent() -> None:
    s = stage()
    plant(s, 0.0, first=14, held=3, nearer=0.45, direction=10.0, leave=25.0)
    shot, result = reviewed(s)
    assert not result.notes, [n.text for n in result.notes]
    assert isinstance(shot.kisses, Kisses) and shot.kisses.pairs


@pytest.mark.parametrize("azimuth,nearer,direction", SETUPS)
@pytest.mark.parametrize("gap,first,held,leave", [(1.0, 4, 24, 5.0), (-2.0, 14, 3, 0.35)])
def test_what_is_worked_out_between_looks_is_what_looks_find(
    azimuth: float,
    nearer: float,
    direction: float,
    gap: float,
    first: int,
    held: int,
    leave: float,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A lantern that stays at its gap, and one that drifts into the head and out again; then every frame looked at."""
    s = stage(azimuth)
    plant(s, gap, first=first, held=held, nearer=nearer, direction=direction, leave=leave)
    some, few = (r for r in reviewed(s))
    monkeypatch.setattr(kisses, "second_look", lambda passed, *rest: passed)
    every, whole = (r for r in reviewed(s))
    assert isinstance(some.kisses, Kisses) and isinstance(every.kisses, Kisses)
    worked_out = 0
    for one, two in zip(some.kisses.pairs, every.kisses.pairs, strict=True):
        assert all(k.pieces_a is not None for k in two.kisses)
        for sample in {k.sample for k in one.kisses if k.pieces_a is None}:
            # Along a straight edge it is chance which further places are asked about: the deepest tells the gap.
            told, truth = (min((k.gap for k in pair.kisses if k.sample == sample), default=9.0) for pair in (one, two))
            assert abs(told - truth) < 0.3, (one.b.name, sample, told, truth)
            worked_out += 1
    assert worked_out >= 2
    assert len(few.notes) == len(whole.notes) > 0
    for note, other in zip(few.notes, whole.notes, strict=True):
        assert (note.part, note.severity, note.start, note.end) == (other.part, other.severity, other.start, other.end)
        assert abs(note.measured - other.measured) < 0.3 and len(note.evidence) >= 3


@pytest.mark.parametrize("before", [True, False])
def test_a_wall_hides_a_kiss_only_when_it_stands_before_it(before: bool) -> None:
    s = stage()
    plant(s, 0.0, first=11, held=8, nearer=0.45, direction=10.0)
    wall = box("Wall", (4.0, 0.1, 4.0))
    eye = np.array(s.camera.matrix_world.translation)
    place = eye + (np.array([0, 0, 1.4]) - eye) * (0.4 if before else 1.8)
    wall.matrix_world = (
        Matrix.Translation(place) @ s.camera.matrix_world.to_3x3().to_4x4() @ Matrix.Rotation(np.pi / 2, 4, "X")
    )
    _, result = reviewed(s)
    assert len(result.notes) == (0 if before else 1), [n.text for n in result.notes]


def test_what_a_render_does_not_show_has_no_outline_and_hides_nothing() -> None:
    s = stage()
    plant(s, 0.0, first=11, held=8, nearer=0.45, direction=10.0)
    wall = box("Wall", (4.0, 0.1, 4.0))
    eye = np.array(s.camera.matrix_world.translation)
    wall.matrix_world = (
        Matrix.Translation(eye + (np.array([0, 0, 1.4]) - eye) * 0.4)
        @ s.camera.matrix_world.to_3x3().to_4x4()
        @ Matrix.Rotation(np.pi / 2, 4, "X")
    )
    wall.hide_render = True
    assert len(reviewed(s)[1].notes) == 1
    s.lantern.hide_render = True
    _, result = reviewed(s)
    assert not result.notes and any("no surface" in skip.why for skip in result.skipped), result.skipped


def test_a_hand_that_holds_is_silent() -> None:
    s = stage()
    for frame in range(1, FRAMES + 1):
        s.scene.frame_set(frame)
        hand = s.rig.matrix_world @ s.rig.pose.bones["hand.L"].tail
        s.lantern.location = hand + Vector((0.03, 0, -0.12))
        s.lantern.keyframe_insert("location", frame=frame)
    shot, result = reviewed(s)
    assert not [n for n in result.notes if n.part.startswith(("hand", "forearm", "upper_arm"))], [
        n.text for n in result.notes
    ]
    assert not any(p.b.name == "arm.L" for p in shot.kisses.pairs)


def test_the_remedy_applied_to_the_scene_silences_the_note() -> None:
    for azimuth, nearer, direction in FEW:
        for gap in (0.0, 2.0):
            bpy.ops.wm.read_factory_settings(use_empty=True)
            s = stage(azimuth)
            plant(s, gap, first=11, held=8, nearer=nearer, direction=direction)
            note = reviewed(s)[1].notes[0]
            move(s, note)
            assert not reviewed(s)[1].notes, [n.text for n in reviewed(s)[1].notes]


def move(s: Stage, note: Note) -> None:
    """The remedy, as a person would key it: the whole offset in its frames, eased linearly outside."""
    remedy = note.remedy
    assert remedy is not None and remedy.target == "Lantern"
    (first, last), ease = remedy.frames, remedy.ease
    for frame in range(1, FRAMES + 1):
        s.scene.frame_set(frame)
        weight = 1.0 - max(first - frame, frame - last, 0) / (ease + 1)
        if weight > 0:
            s.lantern.location = s.lantern.location + Vector(remedy.offset) * weight
            s.lantern.keyframe_insert("location", frame=frame)


def test_a_cut_ends_a_kiss() -> None:
    """Ten frames of kiss, cut in the middle to a camera from the other side: five frames a run are too few."""
    s = stage()
    plant(s, 0.0, first=11, held=8, nearer=0.45, direction=10.0)
    other = s.camera.copy()
    other.animation_data_clear()
    other.location, other.rotation_euler = (-3, 3, 1.6), (Vector((3, -3, -0.3)).to_track_quat("-Z", "Y").to_euler())
    s.scene.collection.objects.link(other)
    for frame, camera in ((1, s.camera), (15, other)):
        s.scene.timeline_markers.new(camera.name, frame=frame).camera = camera
    shot, result = reviewed(s)
    assert shot.camera is not None and int(shot.camera.run[-1]) == 1
    assert not [n for n in result.notes if n.start < 15], [n.text for n in result.notes]


def test_doubled_vertices_make_no_outlines() -> None:
    """A skin split along every edge, as importers make them, gives the same note."""
    gaps = []
    for split in (False, True):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        s = stage()
        plant(s, 1.0, first=11, held=8, nearer=0.45, direction=10.0)
        if split:
            modifier = s.skin.modifiers.new("Split", "EDGE_SPLIT")
            modifier.split_angle = 0.0
            with bpy.context.temp_override(object=s.skin, active_object=s.skin):
                bpy.ops.object.modifier_move_to_index(modifier="Split", index=0)
        note = reviewed(s)[1].notes
        assert len(note) == 1, split
        gaps.append(note[0].measured)
    assert abs(gaps[0] - gaps[1]) < 1e-3


def test_no_camera_and_no_pair_are_said() -> None:
    s = stage()
    s.scene.camera = None
    assert any("no camera" in skip.why for skip in reviewed(s)[1].skipped)
    s.scene.camera = s.camera
    bpy.data.objects.remove(s.lantern)
    assert any("no prop" in skip.why for skip in reviewed(s)[1].skipped)
    s.camera.data.type = "PANO"
    box("Lantern", (0.06, 0.06, 0.2))["plumbline_prop"] = True
    assert any("panoramic" in skip.why for skip in reviewed(s)[1].skipped)


def test_the_scene_is_left_as_it_was() -> None:
    s = stage()
    plant(s, 0.0, first=11, held=8, nearer=0.45, direction=10.0)
    s.scene.frame_set(7)
    before = (s.scene.frame_current, len(bpy.data.scenes), len(bpy.data.objects), len(bpy.data.meshes))
    reviewed(s)
    assert before == (s.scene.frame_current, len(bpy.data.scenes), len(bpy.data.objects), len(bpy.data.meshes))


@pytest.mark.parametrize("resolution", [(960, 540), (1080, 1920)])
def test_the_gap_is_of_a_picture_of_1080(resolution: tuple[int, int]) -> None:
    s = stage(resolution=resolution)
    plant(s, 1.0, first=11, held=8, nearer=0.45, direction=10.0)
    note = reviewed(s)[1].notes
    assert len(note) == 1 and abs(note[0].measured - 1.0) < 0.6
