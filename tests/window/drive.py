# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs inside the window that run.py opens. Steps wait between each other, so that Blender draws and takes events."""

import os
import sys
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

ZIP, SHOT, OUT = (Path(word) for word in sys.argv[sys.argv.index("--") + 1 :])


def say(text: str) -> None:
    print("SAID", text, flush=True)


def window() -> Any:
    return bpy.context.window_manager.windows[0]


def area(kind: str) -> Any:
    return max((a for a in window().screen.areas if a.type == kind), key=lambda a: a.width * a.height)


def region(kind: str, name: str) -> Any:
    return next(r for r in area(kind).regions if r.type == name)


def inside(kind: str = "VIEW_3D") -> Any:
    """The context of an editor's main region."""
    return bpy.context.temp_override(
        window=window(), screen=window().screen, area=area(kind), region=region(kind, "WINDOW")
    )


def picture(name: str) -> None:
    """Asks run.py for a picture of the screen; where it has no tool for that, Blender takes its own."""
    with inside():
        bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=2)
    want = OUT / f"{name}.want"
    want.touch()
    until = time.perf_counter() + 10
    while want.exists() and time.perf_counter() < until:
        time.sleep(0.05)
    if not (OUT / f"{name}.png").exists():
        with inside():
            bpy.ops.screen.screenshot(filepath=str(OUT / f"{name}.png"), check_existing=False)


def press(x: int, y: int) -> None:
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    window().event_simulate(type="LEFTMOUSE", value="PRESS", x=x, y=y)
    window().event_simulate(type="LEFTMOUSE", value="RELEASE", x=x, y=y)


def key(name: str, **modifiers: bool) -> None:
    x, y = _middle()
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    window().event_simulate(type=name, value="PRESS", x=x, y=y, **modifiers)
    window().event_simulate(type=name, value="RELEASE", x=x, y=y, **modifiers)


def _middle() -> tuple[int, int]:
    main = region("VIEW_3D", "WINDOW")
    return main.x + main.width // 3, main.y + main.height // 2


def button() -> tuple[int, int]:
    """The middle of Check Shot: the first row of the first panel."""
    bar = region("VIEW_3D", "UI")
    return bar.x + bar.width // 2 - 10, bar.y + bar.height - 50


def module(name: str) -> Any:
    return sys.modules[f"bl_ext.user_default.plumbline.blender_addon.{name}"]


def theme(name: str) -> None:
    file = next(p for folder in bpy.utils.preset_paths("interface_theme") if (p := Path(folder) / name).exists())
    with inside():
        bpy.ops.script.execute_preset(filepath=str(file), menu_idname="USERPREF_MT_interface_theme_presets")


def quiet() -> bool:
    return not any(scene.name.startswith(".probe") for scene in bpy.data.scenes)


def steps() -> Iterator[float]:
    bpy.context.preferences.view.show_splash = False
    with inside():
        assert bpy.ops.extensions.package_install_files(
            filepath=str(ZIP), repo="user_default", enable_on_install=True
        ) == {"FINISHED"}
    say("installed by Blender's own operator in " + bpy.app.version_string)
    session = module("session")
    bpy.ops.wm.open_mainfile(filepath=str(SHOT), load_ui=False)
    yield 1.0
    space = area("VIEW_3D").spaces.active
    space.show_region_ui = True
    space.shading.type = "SOLID"
    space.region_3d.view_perspective = "CAMERA"
    yield 0.5
    region("VIEW_3D", "UI").active_panel_category = "Plumbline"
    area("VIEW_3D").tag_redraw()
    yield 1.0
    picture("panel-before")
    scene = bpy.context.scene
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    rig.pose.bones["torso"].location.x += 0.25  # not keyed: a frame change would take it away
    yield 0.5
    frame, place = scene.frame_current, rig.pose.bones["torso"].location.x

    # Esc, at three moments; the view's own eight pictures for smooth edges would count on a software rasterizer
    smooth = bpy.context.preferences.system.viewport_aa
    bpy.context.preferences.system.viewport_aa = "OFF"
    held: list[float] = []
    slice_ = module("checking").Checking.slice

    def timed(job: Any, seconds: float) -> bool:
        started = time.perf_counter()
        try:
            return bool(slice_(job, seconds))
        finally:
            held.append(time.perf_counter() - started)

    module("checking").Checking.slice = timed
    waits = []
    for part in (0.0, 0.3, 0.8):
        yield 1.0
        press(*button())
        yield 0.3
        assert session.job is not None, "the button did not start a check"
        while session.job is not None and session.job.part < part:
            yield 0.005
        assert session.job is not None, "the check ended too soon for this test"
        if part == 0.3:
            picture("panel-running")
        asked = time.perf_counter()
        key("ESC")
        while session.job is not None and time.perf_counter() - asked < 5:
            yield 0.005
        waits.append(time.perf_counter() - asked)
        assert session.job is None and session.of(scene) is None and quiet()
        assert (scene.frame_current, rig.pose.bones["torso"].location.x) == (frame, place), "Esc left a trace"
    module("checking").Checking.slice = slice_
    bpy.context.preferences.system.viewport_aa = smooth
    say("Esc stopped after " + ", ".join(f"{w:.2f}" for w in waits) + " s")
    say(f"Blender was held for {max(held):.2f} s at the most, {sorted(held)[len(held) // 2]:.3f} s as a rule")
    assert sorted(waits)[1] <= 0.2, "Esc takes too long"

    # an undo in the middle of a check
    yield 1.0
    press(*button())
    yield 0.25
    assert session.job is not None
    with inside():
        bpy.ops.ed.undo_push(message="pushed by force")
        bpy.ops.ed.undo_push(message="pushed by force again")
        bpy.ops.ed.undo()
    yield 1.0
    scene = bpy.context.scene
    assert quiet(), "undo brought the temporary scene back: " + ", ".join(s.name for s in bpy.data.scenes)
    assert session.job is None
    say("an undo in the middle of a check leaves nothing behind")
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    frame, place = scene.frame_current, rig.pose.bones["torso"].location.x

    # to the end
    started = time.perf_counter()
    press(*button())
    yield 0.2
    while session.job is not None:
        yield 0.1
    seconds = time.perf_counter() - started
    checked = session.of(scene)
    assert checked is not None and checked.notes, "no notes were found"
    assert (scene.frame_current, rig.pose.bones["torso"].location.x) == (frame, place), "the check left a trace"
    say(f"{len(checked.notes)} notes in {seconds:.1f} s; the frame and a pose that is not keyed are as they were")
    assert quiet()
    yield 1.5
    assert not session.edited(scene), f"stale right after the check: {checked.edit}"
    picture("panel-notes")

    # stepping
    scene.frame_set(1)
    seen = []
    with inside():
        while bpy.ops.plumbline.next_note("INVOKE_DEFAULT", True) == {"FINISHED"}:
            seen.append(scene.frame_current)
    assert seen == sorted(n.worst for n in checked.notes), seen
    say("stepped through frames " + ", ".join(map(str, seen)))
    yield 0.5

    # a click on the third row
    bar = region("VIEW_3D", "UI")
    press(bar.x + bar.width // 2 - 20, bar.y + bar.height - 158)
    yield 1.5
    say(f"a click went to frame {scene.frame_current}, {bpy.context.view_layer.objects.active.name} active")
    assert scene.frame_current in {n.worst for n in checked.notes} and scene.frame_current != seen[-1]
    picture("panel-detail")
    after = scene.frame_current
    key("Z", ctrl=True)
    yield 1.5
    scene = bpy.context.scene
    say(f"undo went back from frame {after} to {scene.frame_current}; {len(module('settings').state().rows)} rows stay")
    assert scene.frame_current == seen[-1] and session.of(scene).notes
    assert session.edited(scene)
    picture("panel-edited")

    # markers, in the light theme too
    press(*button())
    yield 0.2
    while session.job is not None:
        yield 0.1
    with inside():
        scene.timeline_markers.new("mine", frame=40)
        assert bpy.ops.plumbline.add_markers("INVOKE_DEFAULT", True) == {"FINISHED"}
        bpy.ops.plumbline.next_note("INVOKE_DEFAULT", True)
    theme("Blender_Light.xml")
    yield 1.5
    picture("panel-light")
    with inside():
        bpy.ops.plumbline.remove_markers("INVOKE_DEFAULT", True)
    assert [m.name for m in scene.timeline_markers] == ["mine"]
    say("markers came and went; the person's own stayed")

    # another file in the middle of a check
    press(*button())
    yield 0.25
    assert session.job is not None
    bpy.ops.wm.open_mainfile(filepath=str(SHOT), load_ui=False)
    yield 1.0
    assert session.job is None and quiet() and session.of(bpy.context.scene) is None
    say("another file in the middle of a check leaves nothing behind")
    say("done")


_steps = steps()


def tick() -> float:
    try:
        return next(_steps)
    except StopIteration:
        code = 0
    except BaseException:
        say("failed: " + traceback.format_exc().strip().replace("\n", " | "))
        code = 1
        try:
            picture("failed")
        except Exception:
            traceback.print_exc()
    sys.stdout.flush()
    os._exit(code)


bpy.app.timers.register(tick, first_interval=1.0, persistent=True)
