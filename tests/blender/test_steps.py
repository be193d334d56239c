# SPDX-License-Identifier: GPL-3.0-or-later
"""Esc is looked at between two steps of a check: none of them may treat a whole crowd at once, nor all of a heavy
mesh or of a long bake."""

import gc
import time
from collections import Counter
from collections.abc import Iterator
from typing import Any

import bpy
import pytest
from plumbline.blender_addon import checking, fingerprint, session
from plumbline.blender_addon.sampling import armatures, figures, kisses, probe, slots, sweep
from plumbline.core.checks.joint_limit import JointLimit
from plumbline.core.testing import cost

from .benchmarking import scenes
from .sampling.figure import figure, key, walk

FIGURES = 4

#: What takes long on a large figure or for many of them, by where it is found.
LONG = {
    "body map": (armatures, "_find"),
    "character": (sweep._Pass, "_character"),
    "skin": (figures.Figures, "_build_character"),
    "gate": (kisses, "gate"),
    "pair": (kisses, "kisses"),
    "check": (JointLimit, "run"),
    "fingerprint": (fingerprint, "add_data"),
}


@pytest.fixture
def crowd(face: None) -> Any:
    """Figures that walk side by side before a camera, each with a body of its own and a knee bent the wrong way."""
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 20
    for n in range(FIGURES):
        rig = figure(f"Keeper {n}")
        walk(rig, 20)
        rig.location.x = 0.3 * n
        key(rig, "shin.L", "rotation_euler", 10, (-0.7, 0, 0))
        for bone in rig.data.bones:
            size = 0.3 * bone.length
            mesh = bpy.data.meshes.new(bone.name)
            mesh.from_pydata([(size, 0, 0), (-size, 0, 0), (0, 0, size)], [], [(0, 1, 2)])
            part = bpy.data.objects.new(f"{bone.name} {n}", mesh)
            scene.collection.objects.link(part)
            part.parent, part.parent_type, part.parent_bone = rig, "BONE", bone.name
    camera = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
    scene.collection.objects.link(camera)
    camera.location, camera.rotation_euler = (0.5, -6.0, 1.0), (1.57, 0, 0)
    scene.camera = camera
    return scene


def test_no_step_treats_a_crowd_at_once(crowd: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    armatures._found.clear()
    done: Counter[str] = Counter()
    most: Counter[str] = Counter()
    for name, (where, function) in LONG.items():
        plain = getattr(where, function)

        def counted(*words: Any, plain: Any = plain, name: str = name, **more: Any) -> Any:
            done[name] += 1
            return plain(*words, **more)

        monkeypatch.setattr(where, function, counted)
    job = session.job = checking.Checking(crowd)
    total: Counter[str] = Counter()
    while job.slice(0.0):
        most |= done
        total += done
        done.clear()
    session.job = None
    found = session.of(crowd)
    assert found is not None and found.result is not None and found.result.notes
    assert set(total) == set(LONG), "the scene asks for all of it"
    assert total["character"] == FIGURES and total["body map"] >= FIGURES
    assert {name: times for name, times in most.items() if times > 1} == {}


def test_stopped_at_any_step_nothing_is_left(crowd: Any) -> None:
    """Closing lets go of everything, wherever in the work it is."""
    job = checking.Checking(crowd)
    steps = 1
    while job.slice(0.0):
        steps += 1
    for stop in range(1, steps, max(1, steps // 12)):
        job = session.job = checking.Checking(crowd)
        for _ in range(stop):
            job.slice(0.0)
        job.stop()
        session.job = None
        assert [s.name for s in bpy.data.scenes] == ["Scene"] and job.done


#: Seconds of this thread, on a quiet machine, that a step may take; what is aimed at is half of it, and Esc has 0.2 s
#: in all.
STEP = 0.1
HEAVY = {"mesh": ("throng", scenes.Size(24, figures=2, skin=60_000)), "bake": ("long", scenes.Size(4_000))}


@pytest.fixture
def small_heap() -> Iterator[None]:
    """What earlier tests left behind is not looked through for garbage in the middle of a step."""
    gc.collect()
    gc.freeze()
    yield
    gc.unfreeze()


@pytest.mark.parametrize("name", HEAVY)
def test_no_step_takes_long(face: None, small_heap: None, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """The longest step of a heavy scene's check, by this thread's own time, told by the machine's pace right after it.
    The same step is taken in each of three checks and the least of it counts: what else runs on the machine never holds
    up the same one each time."""
    scene = scenes.build(*HEAVY[name])
    built: list[str] = []
    build = figures.Figures._build_character

    def told(self: figures.Figures, name: str) -> Iterator[None]:
        built.append(name)
        return build(self, name)

    monkeypatch.setattr(figures.Figures, "_build_character", told)
    checks: list[list[float]] = []
    for _ in range(4):
        armatures._found.clear()
        job = session.job = checking.Checking(scene)
        taken = []
        while not job.done:
            start = time.thread_time()
            job.slice(0.0)
            spent = time.thread_time() - start
            taken.append(spent * cost.pace() if spent > STEP / 4 else spent)
        session.job = None
        checks.append(taken)
    _, *checks = checks  # the first one's steps import what later ones have
    longest = max(map(min, zip(*checks, strict=True)))
    found = session.of(scene)
    assert found is not None and found.result is not None, found and found.why
    assert bool(built) == (name == "mesh"), "outlines of the heavy skins are asked for"
    assert longest < STEP, f"the longest step took {longest:.3f} s"


def test_no_step_has_the_windows_drawn_again(face: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody can stop a check while Blender draws, which it does after a step that links an object or makes one."""
    monkeypatch.setattr(probe, "windows", lambda: True)
    scene = scenes.build(*HEAVY["mesh"])
    known = {data.session_uid for some in (bpy.data.objects, bpy.data.collections) for data in some}
    most = 0
    job = session.job = checking.Checking(scene)
    while job.slice(0.0):
        ours = [s for s in bpy.data.scenes if s != scene]
        most = max(most, sum(s.camera is not None for s in ours))
        assert not any(s.collection.all_objects or s.collection.children for s in ours)
        new = [o for o in bpy.data.objects if o.session_uid not in known]
        assert all(o.get(slots.MARK) and not o.constraints for o in new)
    session.job = None
    assert session.of(scene) is not None and most > 3, "objects were put in"
