# SPDX-License-Identifier: GPL-3.0-or-later
"""The temporary scene: what is put in is evaluated until it is taken out, whichever way it comes in, and is gone at
the end. Where Blender has windows nothing that has them drawn again is asked for."""

from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.compat import curves_of
from plumbline.blender_addon.sampling import probe as probing
from plumbline.blender_addon.sampling import slots
from plumbline.blender_addon.sampling.probe import Probe, probe, remove_strays

from .figure import figure, key


@pytest.fixture(params=[False, True], ids=["no windows", "windows"])
def windows(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[bool]:
    monkeypatch.setattr(probing, "windows", lambda: request.param)
    yield request.param


def cube(name: str, x: float) -> Any:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
    object = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(object)
    for frame, at in ((1, x), (11, x + 10)):
        object.location.x = at
        object.keyframe_insert("location", index=0, frame=frame)
    object.location.x = 77.0  # not keyed yet
    return object


@pytest.fixture
def cubes() -> list[Any]:
    made = [cube("Lantern", 0.0), cube("Stool", 5.0)]
    bpy.context.view_layer.update()
    return made


def there() -> tuple[Any, ...]:
    every = (bpy.data.scenes, bpy.data.collections, bpy.data.objects, bpy.data.libraries, bpy.data.actions)
    return tuple(sorted(data.name for data in some) for some in every)


def names(graph: Any) -> set[str]:
    return {str(data.name) for data in graph.ids if isinstance(data, bpy.types.Object)} & {"Lantern", "Stool"}


def at(object: Any, graph: Any) -> float:
    return float(object.evaluated_get(graph).matrix_world.translation.x)


def meshes(object: Any, graph: Any) -> int:
    """Vertices of an object as evaluated."""
    return len(object.evaluated_get(graph).data.vertices)


def test_what_is_linked_is_evaluated_until_it_is_unlinked(windows: bool, cubes: list[Any]) -> None:
    lantern, stool = cubes
    before = there()
    with probe(bpy.context.scene) as inside:
        assert names(inside.to(1)) == set()
        inside.link([lantern])
        inside.link([lantern])  # known
        graph = inside.to(6)
        slope = at(lantern, graph)
        assert names(graph) == {"Lantern"} and 0.0 < slope < 10.0
        inside.link([stool])
        graph = inside.to(11)
        assert names(graph) == {"Lantern", "Stool"}
        assert at(lantern, graph) == pytest.approx(10.0) and at(stool, graph) == pytest.approx(15.0)
        inside.unlink([lantern])
        assert names(inside.to(11)) == {"Stool"}
    assert there() == before
    assert lantern.location.x == 77.0 and [c.name for c in lantern.users_collection] == ["Scene Collection"]


def test_places_are_pulled_without_a_mesh_also_of_what_is_hidden(windows: bool, cubes: list[Any]) -> None:
    lantern, stool = cubes
    for thing in cubes:
        thing.modifiers.new("Wide", "ARRAY")  # which the temporary scene does not make simpler
    stool.parent = lantern
    stool.hide_viewport = True
    plain = len(lantern.data.vertices)
    before = there()
    with probe(bpy.context.scene) as inside:
        inside.to(1)
        inside.pull(lantern)
        inside.pull(stool)
        inside.pull(stool)  # known
        graph = inside.to(11)
        assert at(lantern, graph) == pytest.approx(10.0) and at(stool, graph) == pytest.approx(25.0)
        assert meshes(lantern, graph) == meshes(stool, graph) == plain
        inside.link([lantern])
        assert meshes(lantern, inside.to(11)) > plain
    assert there() == before and stool.location.x == 77.0


def test_bones_of_a_hidden_armature_are_pulled(windows: bool) -> None:
    rig = figure("Keeper")
    for frame, turn in ((1, 0.0), (11, 0.8)):
        key(rig, "shin.L", "rotation_euler", frame, (turn, 0, 0))
    bpy.context.scene.frame_set(1)
    shown = {frame: _shown(rig, frame) for frame in (1, 6, 11)}
    bpy.context.scene.frame_set(1)
    rig.hide_viewport = True
    with probe(bpy.context.scene) as inside:
        for bone in ("shin.L", "foot.L"):
            inside.pull(rig, bone)
        for frame, expected in shown.items():
            found = rig.evaluated_get(inside.to(frame)).pose.bones["foot.L"].matrix
            assert np.allclose(found, expected, atol=1e-5)


def _shown(rig: Any, frame: int) -> Any:
    bpy.context.scene.frame_set(frame)
    return np.array(rig.evaluated_get(bpy.context.evaluated_depsgraph_get()).pose.bones["foot.L"].matrix)


def test_frames_below_zero_and_between_are_reached(windows: bool, cubes: list[Any]) -> None:
    with probe(bpy.context.scene, cubes[:1]) as inside:
        at_six = at(cubes[0], inside.to(6))
        (curve, _), = curves_of(cubes[0])
        assert at(cubes[0], inside.to(6.5)) == pytest.approx(curve.evaluate(6.5)) != pytest.approx(at_six)
        assert at(cubes[0], inside.to(-3)) == pytest.approx(0.0)
        assert at(cubes[0], inside.to(11)) == pytest.approx(10.0)


def test_settings_are_the_scenes_own(windows: bool) -> None:
    scene = bpy.context.scene
    scene.render.fps, scene.render.fps_base, scene.render.resolution_x = 30, 1.001, 2048
    scene.unit_settings.scale_length, scene.frame_end, scene.use_gravity = 0.01, 57, False
    scene["lit"] = 3
    with probe(scene) as inside:
        own = inside.scene
        assert own != scene and own["lit"] == 3
        assert (own.render.fps, own.frame_end, own.use_gravity) == (30, 57, False)
        assert own.render.fps_base == pytest.approx(1.001)
        # set, these have windows drawn again, and only a driver on the context's scene can ask for them
        assert (own.render.resolution_x == 2048) is not windows
        assert own.render.use_simplify and own.render.simplify_subdivision == 0


def test_a_driver_on_the_scene_of_the_context_reads_all_its_settings(windows: bool, cubes: list[Any]) -> None:
    scene, (lantern, _) = bpy.context.scene, cubes
    scene.render.resolution_x, scene.unit_settings.scale_length = 2048, 0.01
    driver = lantern.driver_add("location", 2).driver
    driver.type = "SUM"
    variable = driver.variables.new()
    variable.type = "CONTEXT_PROP"
    variable.targets[0].context_property = "ACTIVE_SCENE"
    variable.targets[0].data_path = "render.resolution_x"
    with probe(scene, [lantern]) as inside:
        assert inside.scene.unit_settings.scale_length == pytest.approx(0.01)
        graph = inside.to(1)
        assert lantern.evaluated_get(graph).matrix_world.translation.z == pytest.approx(2048)


def test_where_there_are_windows_nothing_is_linked(monkeypatch: pytest.MonkeyPatch, cubes: list[Any]) -> None:
    """Linking has them drawn again, and so has whatever else brings an object into a scene."""
    monkeypatch.setattr(probing, "windows", lambda: True)
    own = set(bpy.data.scenes)
    with probe(bpy.context.scene, cubes) as inside:
        inside.pull(cubes[0])
        inside.to(1)
        ours = [scene for scene in bpy.data.scenes if scene not in own]
        assert len(ours) == slots.SCENES and not any(scene.collection.all_objects for scene in ours)
        assert not [o for o in bpy.data.objects if o.get(slots.MARK) and len(o.constraints)]


def test_meshes_that_the_person_does_not_see_have_their_modifiers_too(windows: bool, cubes: list[Any]) -> None:
    """A slot would leave them out."""
    seen, hidden = cubes
    instanced = cube("Stool of a set", 0.0)
    within = bpy.data.collections.new("Set")
    for thing, into in ((hidden, bpy.data.collections.new("Hidden")), (instanced, within)):
        bpy.context.scene.collection.objects.unlink(thing)
        into.objects.link(thing)
    hidden.users_collection[0].hide_viewport = True
    bpy.context.scene.collection.children.link(hidden.users_collection[0])
    stands = bpy.data.objects.new("Set", None)
    stands.instance_type, stands.instance_collection = "COLLECTION", within
    bpy.context.scene.collection.objects.link(stands)
    bpy.context.view_layer.update()
    for thing in (seen, hidden, instanced):
        thing.modifiers.new("Wide", "ARRAY")
    with probe(bpy.context.scene) as inside:
        inside.link([seen, hidden, instanced])
        graph = inside.to(1)
        assert [meshes(thing, graph) for thing in (seen, hidden, instanced)] == [6, 6, 6]
        inside.unlink([hidden])
        assert "Stool" not in names(inside.to(2))


def test_what_may_follow_a_clip_is_linked(monkeypatch: pytest.MonkeyPatch, cubes: list[Any], tmp_path: Any) -> None:
    """Its constraint asks the scene for the camera, which in a slot is the object itself."""
    monkeypatch.setattr(probing, "windows", lambda: True)
    image = bpy.data.images.new("Lamp", 8, 8)
    image.filepath_raw, image.file_format = str(tmp_path / "lamp.png"), "PNG"
    image.save()
    bpy.data.movieclips.load(str(tmp_path / "lamp.png"))
    with probe(bpy.context.scene, cubes) as inside:
        assert set(inside.scene.collection.objects) == set(cubes)


def test_slots_come_again_where_they_run_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probing, "windows", lambda: True)
    many = [cube(f"Lantern {n}", float(n)) for n in range(2 * slots.SCENES)]
    bpy.context.view_layer.update()
    before = there()
    with probe(bpy.context.scene) as inside:
        inside.link(many[: slots.SCENES])
        inside.to(1)
        inside.link(many)
        for thing in many:
            inside.pull(thing)
        graph = inside.to(11)
        assert [at(thing, graph) for thing in many] == pytest.approx([n + 10.0 for n in range(len(many))])
        inside.unlink(many)
        inside.link(many[:3])
        ids = {data.name for data in inside.to(11).ids}
        assert {thing.name for thing in many} <= ids, "what is pulled is still there"
    assert there() == before


def test_strays_go_with_all_that_came_along(windows: bool, cubes: list[Any]) -> None:
    before = there()
    inside = Probe()
    inside.pull(cubes[0])
    assert remove_strays() >= 1  # as after an undo that brought them back
    assert there() == before


def test_the_file_is_what_it_is_said_to_be(tmp_path: Any) -> None:
    """slots.blend as it is committed: a chain of empty scenes, and empties that pull."""
    with bpy.data.libraries.load(str(slots.FILE), link=False) as (there, here):
        assert len(there.scenes) == slots.SCENES and len(there.objects) == slots.PULLERS
        assert not (there.meshes or there.texts or there.actions or there.collections)
        here.scenes, here.objects = list(there.scenes), list(there.objects)
    assert all(data[slots.MARK] for data in (*here.scenes, *here.objects))
    below = [scene.background_set for scene in here.scenes if scene.background_set is not None]
    assert len(set(below)) == slots.SCENES - 1 and set(below) < set(here.scenes)
    for puller in here.objects:
        (curve,) = puller.animation_data.drivers
        (variable,) = curve.driver.variables
        assert variable.targets[0].id == puller and variable.targets[0].data_path == '["of"].location[0]'
        assert not curve.driver.use_self and curve.driver.type == "SUM", "no script, which may be switched off"
    if bpy.app.version[:2] == (4, 2):
        slots.write(tmp_path / "again.blend")
        with bpy.data.libraries.load(str(tmp_path / "again.blend")) as (again, _):
            assert (len(again.scenes), len(again.objects)) == (slots.SCENES, slots.PULLERS)
    else:
        with pytest.raises(RuntimeError, match="4.2"):
            slots.write(tmp_path / "again.blend")
