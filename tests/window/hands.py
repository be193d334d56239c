# SPDX-License-Identifier: GPL-3.0-or-later
"""The hands of what runs inside the window: it looks, clicks, waits and takes pictures."""

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


def scroll(steps: int) -> None:
    """Turns the wheel over the sidebar, so that what is below comes into sight."""
    bar = region("VIEW_3D", "UI")
    x, y = bar.x + bar.width // 2 - 20, bar.y + bar.height // 2
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    for _ in range(steps):
        window().event_simulate(type="WHEELDOWNMOUSE", value="PRESS", x=x, y=y)


def _middle() -> tuple[int, int]:
    main = region("VIEW_3D", "WINDOW")
    return main.x + main.width // 3, main.y + main.height // 2


def button() -> tuple[int, int]:
    """The middle of Check Shot: the first row of the first panel."""
    bar = region("VIEW_3D", "UI")
    return bar.x + bar.width // 2 - 10, bar.y + bar.height - 50


def module(name: str) -> Any:
    return sys.modules[f"bl_ext.user_default.plumbline.blender_addon.{name}"]


def core(name: str) -> Any:
    return sys.modules[f"bl_ext.user_default.plumbline.core.{name}"]


def theme(name: str) -> None:
    file = next(p for folder in bpy.utils.preset_paths("interface_theme") if (p := Path(folder) / name).exists())
    with inside():
        bpy.ops.script.execute_preset(filepath=str(file), menu_idname="USERPREF_MT_interface_theme_presets")


def quiet() -> bool:
    return not any(scene.name.startswith(".probe") for scene in bpy.data.scenes)


def install() -> None:
    """Installs the zip as people do."""
    bpy.context.preferences.view.show_splash = False
    with inside():
        assert bpy.ops.extensions.package_install_files(
            filepath=str(ZIP), repo="user_default", enable_on_install=True
        ) == {"FINISHED"}


def open_shot() -> Iterator[float]:
    """Opens the sample shot and shows it through its camera, with our sidebar beside it."""
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


def settled() -> Iterator[float]:
    """Has panels come to rest: they slide where rows come or go."""
    for _ in range(8):
        area("VIEW_3D").tag_redraw()
        region("VIEW_3D", "UI").tag_redraw()
        yield 0.3


def check() -> Iterator[float]:
    """Presses the button and waits for the end; panels may still slide then."""
    press(*button())
    yield 0.2
    while module("session").job is not None:
        yield 0.05



def drive(steps: Iterator[float]) -> None:
    """Does the steps, each after so many seconds as the one before has asked for, and ends Blender."""

    def tick() -> float:
        try:
            return next(steps)
        except StopIteration:
            say("done")
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
