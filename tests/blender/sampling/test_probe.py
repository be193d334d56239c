# SPDX-License-Identifier: GPL-3.0-or-later
"""What is kept ready in the temporary scene: not evaluated until asked for, then as if it were linked, gone at the
end."""

from typing import Any

import bpy
import pytest
from plumbline.blender_addon.sampling import probe as probing
from plumbline.blender_addon.sampling.probe import MARK, NAME, Probe, probe, remove_strays


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
    return [cube("Lantern", 0.0), cube("Stool", 5.0)]


def there() -> tuple[Any, ...]:
    every = (bpy.data.scenes, bpy.data.collections, bpy.data.objects)
    return tuple(sorted(data.name for data in some) for some in every)


def names(graph: Any) -> set[str]:
    return {o.name for o in graph.objects if o.type == "MESH"}


def at(object: Any, graph: Any) -> float:
    return float(object.evaluated_get(graph).matrix_world.translation.x)


def test_ready_is_evaluated_only_while_it_is_linked(cubes: list[Any]) -> None:
    lantern, stool = cubes
    before = there()
    with probe(bpy.context.scene) as inside:
        inside.keep_ready(cubes)
        inside.keep_ready(cubes)  # known
        assert names(inside.to(1)) == set()
        inside.link([lantern])
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


def test_ready_places_are_pulled_without_a_mesh(cubes: list[Any]) -> None:
    lantern, stool = cubes
    before = there()
    with probe(bpy.context.scene) as inside:
        inside.keep_ready(cubes, pulled=True)
        inside.to(1)
        inside.pull(lantern)
        graph = inside.to(11)
        assert at(lantern, graph) == pytest.approx(10.0)
        assert names(graph) == set()
    assert there() == before and stool.location.x == 77.0


def test_what_is_too_many_is_linked_as_ever(cubes: list[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probing, "_READY", 1)
    before = there()
    with probe(bpy.context.scene) as inside:
        inside.keep_ready(cubes)
        inside.keep_ready(cubes, pulled=True)
        inside.link(cubes)
        inside.pull(cubes[1])
        graph = inside.to(11)
        assert names(graph) == {"Lantern", "Stool"} and at(cubes[1], graph) == pytest.approx(15.0)
    assert there() == before


def test_strays_take_what_was_ready_along(cubes: list[Any]) -> None:
    before = there()
    scene = bpy.data.scenes.new(NAME)
    scene[MARK] = True
    inside = Probe(scene)
    inside.keep_ready(cubes)
    inside.keep_ready(cubes, pulled=True)
    assert sum(1 for c in bpy.data.collections if c.get(MARK)) == 6  # of each call one above two
    assert remove_strays() == 1  # as after an undo that brought them back
    assert there() == before
