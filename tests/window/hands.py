# SPDX-License-Identifier: GPL-3.0-or-later
"""The hands and eyes of what runs inside the window: it looks, clicks, waits and takes pictures. What needs a hand as
calm as a person's is in person.py."""

import math
import os
import sys
import time
import traceback
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
import gpu
import numpy as np
from mathutils import Euler

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


def picture(
    name: str, box: tuple[float, float, float, float] | None = None, whole: bool = False, percent: int = 100
) -> Path:
    """Asks run.py for a picture of the screen; where it has no tool for that, Blender takes its own.

    box: left, bottom, width, height of a part of the window in pixels. whole: all of the window, every color. percent:
    its size.
    """
    system = bpy.context.preferences.system
    kept, shown = system.viewport_aa, not name.startswith(("look-", "failed", "whole"))
    if shown:  # in the docs
        system.viewport_aa = "8"
    with inside():
        bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=10 if shown else 2)
    system.viewport_aa = kept
    part = "all" if whole else ""
    if box is not None:
        left, bottom, width, height = (round(v) for v in box)
        part = f"{width}x{height}+{left}+{window().height - bottom - height} {percent}%"
    want, path = OUT / f"{name}.want", OUT / f"{name}.png"
    draft = OUT / f"{name}.draft"
    draft.write_text(part, "ascii")
    draft.rename(want)
    until = time.perf_counter() + 10
    while want.exists() and time.perf_counter() < until:
        time.sleep(0.05)
    if not path.exists():
        with inside():
            bpy.ops.screen.screenshot(filepath=str(path), check_existing=False)
    return path


def around(kind: str, name: str = "", margin: float = 0.0) -> tuple[float, float, float, float]:
    """The box of an editor, or of one of its regions, in the window."""
    place = region(kind, name) if name else area(kind)
    return (place.x - margin, place.y - margin, place.width + 2 * margin, place.height + 2 * margin)


def press(x: int, y: int) -> None:
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    window().event_simulate(type="LEFTMOUSE", value="PRESS", x=x, y=y)
    window().event_simulate(type="LEFTMOUSE", value="RELEASE", x=x, y=y)


def key(name: str, **modifiers: bool) -> None:
    x, y = beside()
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    window().event_simulate(type=name, value="PRESS", x=x, y=y, **modifiers)
    window().event_simulate(type=name, value="RELEASE", x=x, y=y, **modifiers)


def scroll(steps: int) -> None:
    """Turns the wheel over the sidebar, so that what is below comes into sight, or what is above where below zero."""
    bar = region("VIEW_3D", "UI")
    x, y = bar.x + bar.width // 2 - 20, bar.y + bar.height // 2
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    wheel = "WHEELDOWNMOUSE" if steps > 0 else "WHEELUPMOUSE"
    for _ in range(abs(steps)):
        window().event_simulate(type=wheel, value="PRESS", x=x, y=y)
    x, y = beside()
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)  # else a tooltip covers what came into sight


def beside() -> tuple[int, int]:
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
    say(f"Blender draws by {gpu.platform.backend_type_get()}")
    bpy.context.preferences.view.show_splash = False
    with inside():
        assert bpy.ops.extensions.package_install_files(
            filepath=str(ZIP), repo="user_default", enable_on_install=True
        ) == {"FINISHED"}


def open_shot(path: Path = SHOT) -> Iterator[float]:
    """Opens a shot and shows it through its camera, with our sidebar beside it."""
    bpy.ops.wm.open_mainfile(filepath=str(path), load_ui=False)
    yield 1.0
    space = area("VIEW_3D").spaces.active
    space.show_region_ui = True
    space.shading.type = "SOLID"
    space.region_3d.view_perspective = "CAMERA"
    yield 0.5
    region("VIEW_3D", "UI").active_panel_category = "Plumbline"
    area("VIEW_3D").tag_redraw()
    yield 1.0


def open_panels(names: tuple[str, ...], others: tuple[str, ...] = ()) -> None:
    """Has sub-panels come up open when the sidebar shows them first; others hang on them."""
    panels = [getattr(bpy.types, name) for name in (*names, *others)]
    for panel in reversed(panels):
        bpy.utils.unregister_class(panel)
    for panel in panels:
        if panel.__name__ in names:
            panel.bl_options = set(panel.bl_options) - {"DEFAULT_CLOSED"}
        bpy.utils.register_class(panel)


def settled() -> Iterator[float]:
    """Has panels come to rest: they slide where rows come or go."""
    for _ in range(5):
        area("VIEW_3D").tag_redraw()
        region("VIEW_3D", "UI").tag_redraw()
        yield 0.3


def check() -> Iterator[float]:
    """Presses the button and waits for the end; panels may still slide then."""
    session, before = module("session"), checked()
    press(*button())
    until = time.perf_counter() + 10
    while session.job is None and checked() is before:
        assert time.perf_counter() < until, "the button did not start a check"
        yield 0.05
    while session.job is not None:
        yield 0.05


def scene() -> Any:
    return bpy.context.scene


def rig() -> Any:
    return next(o for o in scene().objects if o.type == "ARMATURE")


def checked() -> Any:
    return module("session").of(scene())


def go_to(check: str) -> Any:
    number, note = next((i, n) for i, n in enumerate(checked().notes) if n.check == check)
    with inside():
        bpy.ops.plumbline.go_to_note("INVOKE_DEFAULT", True, number=number)
    return note


def near(note: Any, distance: float = 1.8) -> None:
    """Looks at the note's part from nearby; through the camera where its evidence lies in the picture."""
    view = area("VIEW_3D").spaces.active.region_3d
    if note.check == "tangent":
        view.view_perspective = "CAMERA"
        view.view_camera_zoom = 60
        return
    bone = rig().pose.bones[note.part]
    view.view_perspective = "PERSP"
    view.view_location = rig().matrix_world @ bone.head
    view.view_distance = distance


def from_the_side(about: float) -> Any:
    """How the view is turned to look along the floor, a little downward. about: degrees, 0 looks along the world's
    Y."""
    return Euler((math.radians(78), 0.0, math.radians(about))).to_quaternion()


def plate_and_evidence() -> tuple[np.ndarray, np.ndarray]:
    """Left, bottom, right, top in pixels of the view's region: of the note's plate, and of its evidence."""
    ghosts, shown = module("drawing.ghosts"), module("drawing.shown")
    marks, placing = core("marks"), core("placing")
    with inside(), bpy.context.temp_override(region_data=area("VIEW_3D").spaces.active.region_3d):
        context = bpy.context
        note, frame = shown.shown(context).selected, context.scene.frame_current
        view = module("drawing.views").seen(context, frame)
        frame_ = replace(view.frame, number=ghosts._nearest(note, frame, view.camera))
        drawn = marks.evidence_marks(note, frame_, view.camera)
        plate, _ = ghosts._plate(note, frame_, drawn, view, ghosts._room(context))
        spots, height = placing.spots(drawn), context.region.height
        box = next(m for m in plate if not m.width).lines[0]
    boxes = []
    for places in (box, spots):
        low, high = places[:, :2].min(0), places[:, :2].max(0)
        boxes.append(np.array([low[0], height - high[1], high[0], height - low[1]]))
    return boxes[0], boxes[1]


def evidence_box(width: float = 600, height: float = 400) -> tuple[float, float, float, float]:
    """A part of the window about the plate and the evidence."""
    boxes = np.array(plate_and_evidence())
    middle = (boxes[:, :2].min(0) + boxes[:, 2:].max(0)) / 2
    left, bottom, wide, high = around("VIEW_3D", "WINDOW")
    x = float(np.clip(middle[0] - width / 2, 0, wide - width))
    headers = 60 * bpy.context.preferences.system.ui_scale
    y = float(np.clip(middle[1] - height / 2, 0, high - height - headers))
    return (left + x, bottom + y, width, height)


def higher(kind: str, by: int) -> Iterator[float]:
    """Drags the edge above an editor up by so many pixels, or down where below zero."""
    place = area(kind)
    x, y = place.x + place.width // 2, place.y + place.height
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    yield 0.3
    window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x + 1, y=y)
    window().event_simulate(type="LEFTMOUSE", value="PRESS", x=x, y=y)
    for share in (0.3, 0.7, 1.0):
        yield 0.2
        window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=round(y + share * by))
    yield 0.2
    window().event_simulate(type="LEFTMOUSE", value="RELEASE", x=x, y=y + by)
    yield 0.8


def luminance(color: np.ndarray) -> float:
    linear = np.where(color <= 0.04045, color / 12.92, ((color + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def screen_pixels() -> np.ndarray:
    """(H, W, 3) of the window, bottom row first, 0 to 1 as shown."""
    image = bpy.data.images.load(str(picture("whole", whole=True)), check_existing=False)
    image.colorspace_settings.name = "Non-Color"
    width, height = image.size
    out = np.empty(width * height * image.channels, np.float32)
    image.pixels.foreach_get(out)
    channels = image.channels
    bpy.data.images.remove(image)
    return out.reshape(height, width, channels)[..., :3].astype(float)


def drive(steps: Iterator[float]) -> None:
    """Does the steps, each after so many seconds as the one before has asked for, and ends Blender."""

    bpy.context.preferences.system.viewport_aa = "OFF"  # eight pictures for each would cost more than all else

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
                picture("failed", whole=True)
            except Exception:
                traceback.print_exc()
        sys.stdout.flush()
        os._exit(code)

    bpy.app.timers.register(tick, first_interval=1.0, persistent=True)
