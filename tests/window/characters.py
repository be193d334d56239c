# SPDX-License-Identifier: GPL-3.0-or-later
"""Each kind of evidence on a captured clip, and on a hand-keyed character where PLUMBLINE_HANDKEYED names a folder with
some: from 1 m away, and whole in the largest view that the screen has."""

import importlib.util
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Euler, Vector

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

#: Kind -> the checks, degrees from the figure's front to its left from which it is seen, and degrees downward.
KINDS = {
    "balance": (("off-balance", "undriven-move"), 70.0, 14.0),
    "slip": (("slip",), 50.0, 32.0),
    "flight": (("airborne",), 90.0, 8.0),
    "landing": (("hard-landing",), 75.0, 10.0),
    "heel": (("thin-support",), 60.0, 16.0),
    "toe": (("thin-support",), 60.0, 16.0),
    "edge": (("thin-support",), 20.0, 20.0),
}
#: Meters from which it is seen near by, and whole.
NEAR, WHOLE = 1.0, 2.7
#: Pixels of a picture from near by, and percent of its size in the docs; percent of the whole view's.
CLOSE, CLOSE_PERCENT, WHOLE_PERCENT = (1200, 760), 50, 50


def largest_view() -> Iterator[float]:
    """The 3D view alone on the screen, without what is not the shot's."""
    with hands.inside():
        bpy.ops.screen.screen_full_area(use_hide_panels=True)
    yield 1.0
    space = hands.area("VIEW_3D").spaces.active
    space.show_region_ui = space.show_region_toolbar = space.show_region_header = False
    space.show_region_tool_header = space.show_region_hud = space.show_gizmo = False
    space.region_3d.view_perspective = "PERSP"
    space.shading.type = "SOLID"
    for name in ("show_text", "show_cursor", "show_bones", "show_extras", "show_relationship_lines"):
        setattr(space.overlay, name, False)
    yield 0.5


def worst_note(checks: tuple[str, ...]) -> Any:
    """The note of these checks that measures most, opened as a click in the list opens it."""
    number, note = max(
        ((i, n) for i, n in enumerate(hands.checked().notes) if n.check in checks), key=lambda pair: pair[1].measured
    )
    with hands.inside():
        bpy.ops.plumbline.go_to_note("EXEC_DEFAULT", True, number=number)
    return note


def look(at: Any, facing: Any, aside: float, down: float, far: float) -> None:
    """Looks at a place in meters from the side. facing (3,): where the figure faces; aside, down: degrees."""
    unit = hands.checked().shot.unit_scale
    view = hands.area("VIEW_3D").spaces.active.region_3d
    about = math.atan2(facing[0], -facing[1]) + math.radians(aside)
    view.view_rotation = Euler((math.radians(90 - down), 0.0, about)).to_quaternion()
    view.view_location = Vector(np.asarray(at) / unit)
    view.view_distance = far / unit


def placed(note: Any, frame: int) -> tuple[dict[str, Any], Any, Any]:
    """What is looked at from near by, the middle of the figure (3,), and where it faces (3,), in this frame."""
    shot = hands.checked().shot
    character = next(c for c in shot.characters if c.name == note.character)
    row = int(np.abs(shot.frames - frame).argmin())
    i = character.index["pelvis"]
    facing = character.axes[row, i] @ character.rest_axes[i].T @ character.forward
    part = character.head(note.part)[row]
    middle = character.head("pelvis")[row] * [1.0, 1.0, 0.92]
    if note.check in KINDS["balance"][0]:
        kinds = {e.kind: e for e in note.evidence if type(e).__name__ == "Point"}
        spots = {kind: np.array(e.places[frame - e.frames[0]]) for kind, e in kinds.items()}
        return {"-hips": spots["mass"], "": spots["ring"]}, middle, facing
    if note.check == "airborne":
        path = next(np.array(e.places) for e in note.evidence if type(e).__name__ == "Polyline" and not e.dashed)
        return {"": path[len(path) // 2]}, path.mean(0), facing
    return {"": part if note.part == "pelvis" else part - [0.0, 0.0, 0.05]}, middle, facing


def pictures(source: str, kind: str) -> Iterator[float]:
    checks, aside, down = KINDS[kind]
    bpy.ops.wm.open_mainfile(filepath=str(hands.OUT / f"{source}-{kind}.blend"), load_ui=False)
    yield 1.0
    with hands.inside():
        bpy.ops.plumbline.check_shot("EXEC_DEFAULT")
    yield 0.5
    note = worst_note(checks)
    frame = (note.start + note.end) // 2 if note.check == "airborne" else note.worst
    bpy.context.scene.frame_set(frame)
    spots, middle, facing = placed(note, frame)
    for name, spot in spots.items():
        look(spot, facing, aside, down, NEAR)
        yield 0.6
        # what balance shows is larger than what 1 m shows, and its plate lies where there is room
        box = hands.around("VIEW_3D", "WINDOW") if kind == "balance" else hands.evidence_box(*CLOSE)
        hands.picture(f"evidence-{source}-{kind}{name}", box, percent=CLOSE_PERCENT)
    look(middle, facing, aside, down, WHOLE)
    yield 0.6
    hands.picture(f"evidence-{source}-{kind}-whole", hands.around("VIEW_3D", "WINDOW"), percent=WHOLE_PERCENT)
    hands.say(f"{source}, {kind}: frame {note.worst}, {note.text}")


def steps() -> Iterator[float]:
    hands.install()
    yield from largest_view()
    for source in ("captured", "handkeyed"):
        kinds = [kind for kind in KINDS if (hands.OUT / f"{source}-{kind}.blend").exists()]
        if not kinds:
            assert source == "handkeyed", "no captured clip was built"
            hands.say("handkeyed: left out, since PLUMBLINE_HANDKEYED names no folder with such characters")
        for kind in kinds:
            yield from pictures(source, kind)


hands.drive(steps())
