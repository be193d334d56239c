# SPDX-License-Identifier: GPL-3.0-or-later
"""A person's first session, inside the window that run.py opens. Steps wait between each other, so that Blender draws
and takes events."""

import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)


def top(height: int) -> tuple[float, float, float, float]:
    """The upper part of the sidebar."""
    bar = hands.region("VIEW_3D", "UI")
    height = min(height, bar.height)
    return (bar.x, bar.y + bar.height - height, bar.width, height)


def steps() -> Iterator[float]:
    hands.install()
    hands.say("installed by Blender's own operator in " + bpy.app.version_string)
    session = hands.module("session")
    yield from hands.open_shot()
    hands.picture("panel-before", top(130))
    scene = bpy.context.scene
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    rig.pose.bones["torso"].location.x += 0.25  # not keyed: a frame change would take it away
    yield 0.5
    frame, place = scene.frame_current, rig.pose.bones["torso"].location.x

    # Esc, at three moments
    held: list[float] = []  # seconds of the process, which count the same on a busy machine
    drawn: list[float] = []
    slice_ = hands.module("checking").Checking.slice

    def timed(job: Any, seconds: float) -> bool:
        started = time.process_time()
        try:
            return bool(slice_(job, seconds))
        finally:
            held.append(time.process_time() - started)

    hands.module("checking").Checking.slice = timed
    marks = bpy.types.SpaceView3D.draw_handler_add(lambda: drawn.append(0.0), (), "WINDOW", "POST_PIXEL")
    waits, late = [], []
    for part in (0.0, 0.3, 0.8):
        yield 1.0
        hands.press(*hands.button())
        yield 0.3
        assert session.job is not None, "the button did not start a check"
        while session.job is not None and session.job.part < part:
            yield 0.005
        assert session.job is not None, "the check ended too soon for this test"
        if part == 0.3:
            hands.picture("panel-running", top(130))
        before, asked = len(held), time.perf_counter()
        hands.key("ESC")
        while session.job is not None and time.perf_counter() - asked < 5:
            yield 0.005
        waits.append(time.perf_counter() - asked)
        late.append(len(held) - before)
        assert session.job is None and session.of(scene) is None and hands.quiet()
        assert (scene.frame_current, rig.pose.bones["torso"].location.x) == (frame, place), "Esc left a trace"
    hands.say("Esc stopped after " + ", ".join(f"{w:.2f}" for w in waits) + " s")
    hands.say(f"Blender was held for {max(held):.2f} s at the most, {sorted(held)[len(held) // 2]:.3f} s as a rule")
    assert max(late) <= 1 and max(held) <= 0.2, "Esc waits for more than one slice, or for a long one"

    # the progress is drawn, and not the view: that would cost more than the check
    yield 2.0
    held.clear()
    drawn.clear()
    yield from hands.check()
    hands.say(f"the view was drawn {len(drawn)} times in {len(held)} slices of a check")
    assert len(held) > 10 and len(drawn) < 0.6 * len(held)
    hands.module("checking").Checking.slice = slice_
    bpy.types.SpaceView3D.draw_handler_remove(marks, "WINDOW")
    session.clear()

    # an undo in the middle of a check
    yield 1.0
    hands.press(*hands.button())
    yield 0.25
    assert session.job is not None
    with hands.inside():
        bpy.ops.ed.undo_push(message="pushed by force")
        bpy.ops.ed.undo_push(message="pushed by force again")
        bpy.ops.ed.undo()
    asked = time.perf_counter()
    while session.undoing:  # it is tidied up at a quiet moment, which a busy machine has later
        assert time.perf_counter() - asked < 10, "no quiet moment came in which to tidy up"
        yield 0.05
    yield 0.5
    scene = bpy.context.scene
    assert hands.quiet(), "undo brought the temporary scene back: " + ", ".join(s.name for s in bpy.data.scenes)
    assert session.job is None
    hands.say("an undo in the middle of a check leaves nothing behind")
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    frame, place = scene.frame_current, rig.pose.bones["torso"].location.x

    # to the end
    started = time.perf_counter()
    hands.press(*hands.button())
    yield 0.2
    while session.job is not None:
        yield 0.1
    seconds = time.perf_counter() - started
    checked = session.of(scene)
    assert checked is not None and checked.notes, "no notes were found"
    assert (scene.frame_current, rig.pose.bones["torso"].location.x) == (frame, place), "the check left a trace"
    hands.say(f"{len(checked.notes)} notes in {seconds:.1f} s; the frame and a pose that is not keyed are as they were")
    assert hands.quiet()
    yield 1.5
    assert not session.edited(scene), f"stale right after the check: {checked.edit}"
    hands.picture("look-notes")

    # stepping
    scene.frame_set(1)
    seen = []
    with hands.inside():
        while bpy.ops.plumbline.next_note("INVOKE_DEFAULT", True) == {"FINISHED"}:
            seen.append(scene.frame_current)
    assert seen == sorted(n.worst for n in checked.notes), seen
    hands.say("stepped through frames " + ", ".join(map(str, seen)))
    yield 0.5

    # a click on the third row
    bar = hands.region("VIEW_3D", "UI")
    hands.press(bar.x + bar.width // 2 - 20, bar.y + bar.height - 158)
    yield 1.5
    yield from hands.settled()
    hands.say(f"a click went to frame {scene.frame_current}, {bpy.context.view_layer.objects.active.name} active")
    assert scene.frame_current in {n.worst for n in checked.notes} and scene.frame_current != seen[-1]
    x, y = hands.beside()
    hands.window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)  # else a tooltip covers the list
    yield 1.0
    hands.picture("panel-detail", top(900))
    after = scene.frame_current
    hands.key("Z", ctrl=True)
    yield 1.5
    scene = bpy.context.scene
    rows = len(hands.module("settings").state().rows)
    hands.say(f"undo went back from frame {after} to {scene.frame_current}; {rows} rows stay, none stale")
    assert scene.frame_current == seen[-1] and session.of(scene).notes
    assert not session.edited(scene), "the undo of a click makes the result stale"

    # a pose, then a key for it, once Blender has evaluated what the undo brought: before, that would take the edit away
    while session.undoing:
        yield 0.1
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    rig.pose.bones["torso"].location.x -= 0.1
    yield 2.0
    assert not session.edited(scene), "a pose without a key, which no check sees, makes the result stale"
    rig.pose.bones["torso"].keyframe_insert("location", frame=scene.frame_current)
    yield from hands.settled()
    assert session.edited(scene), "a key that was set is not seen"
    hands.picture("panel-edited", top(130))

    # markers, in the light theme too
    hands.press(*hands.button())
    yield 0.2
    while session.job is not None:
        yield 0.1
    with hands.inside():
        scene.timeline_markers.new("mine", frame=40)
        assert bpy.ops.plumbline.add_markers("INVOKE_DEFAULT", True) == {"FINISHED"}
        bpy.ops.plumbline.next_note("INVOKE_DEFAULT", True)
    hands.go_to("slip")
    hands.theme("Blender_Light.xml")
    yield from hands.settled()
    hands.picture("panel-light", top(900))
    with hands.inside():
        bpy.ops.plumbline.remove_markers("INVOKE_DEFAULT", True)
    assert [m.name for m in scene.timeline_markers] == ["mine"]
    hands.say("markers came and went; the person's own stayed")

    # another file in the middle of a check
    hands.press(*hands.button())
    yield 0.25
    assert session.job is not None
    bpy.ops.wm.open_mainfile(filepath=str(hands.SHOT), load_ui=False)
    yield 1.0
    assert session.job is None and hands.quiet() and session.of(bpy.context.scene) is None
    hands.say("another file in the middle of a check leaves nothing behind")


hands.drive(steps())
