# SPDX-License-Identifier: GPL-3.0-or-later
"""How the sidebar looks where something is wrong, missing, or much; and that a check leaves a saved file saved."""

import importlib.util
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

#: Sub-panels that are shown open, and those that hang on them.
OPEN = ("PLUMBLINE_PT_not_checked", "PLUMBLINE_PT_card", "PLUMBLINE_PT_body_map")
CLOSED = ("PLUMBLINE_PT_joint_limits", "PLUMBLINE_PT_stretch", "PLUMBLINE_PT_weights")


def no_character() -> None:
    for object in [o for o in bpy.context.scene.objects if o.type == "ARMATURE"]:
        bpy.data.objects.remove(object)


def in_edit_mode() -> None:
    with hands.inside():
        bpy.context.view_layer.objects.active = hands.rig()
        bpy.ops.object.mode_set(mode="EDIT")


def a_giant() -> None:
    hands.rig().scale = (100, 100, 100)


def no_camera() -> None:
    bpy.context.scene.camera = None


#: The check that is broken on purpose, and its run before.
whole: list[tuple[Any, Any]] = []


def a_check_breaks() -> None:
    catalogue = hands.core("catalogue").catalogue()

    def breaks(*_: Any) -> Any:
        raise ValueError("planted by the window test")

    slip = type(catalogue["slip"])
    whole.append((slip, slip.run))
    slip.run = breaks


STATES: dict[str, tuple[Callable[[], None], str]] = {
    "no-character": (no_character, "no armature"),
    "cannot-measure": (in_edit_mode, "Edit Mode"),
    "giant": (a_giant, "stands for"),
    "no-camera": (no_camera, "no camera"),
    "check-failed": (a_check_breaks, "planted"),
}


def told() -> str:
    """All that the result of this scene says besides its notes."""
    checked = hands.module("session").of(bpy.context.scene)
    silent = hands.module("panels.not_checked").silent(checked)
    return checked.why + " | ".join(f"{why} {whom}" for _, why, whom in silent)


def many(notes: tuple[Any, ...], count: int) -> None:
    """The list with so many notes: those of the shot, over and over."""
    session, settings = hands.module("session"), hands.module("settings")
    checked = session.of(bpy.context.scene)
    more = tuple(
        replace(notes[i % len(notes)], worst=notes[i % len(notes)].worst, text=f"{notes[i % len(notes)].text}")
        for i in range(count)
    )
    checked.result = replace(checked.result, notes=more)
    settings.fill_rows(bpy.context.scene)


def steps() -> Iterator[float]:
    hands.install()
    hands.open_panels(OPEN, CLOSED)
    yield from hands.open_shot()
    session = hands.module("session")
    assert not bpy.data.is_dirty, "the file was just opened"
    yield from hands.check()
    assert session.of(bpy.context.scene).notes
    assert not bpy.data.is_dirty, "a check marks the file as changed"
    hands.say("a file that is saved stays saved through a check")
    found = session.of(bpy.context.scene).result.notes
    for count in (1, 20, 500):
        many(found, count)
        yield from hands.settled()
        hands.picture(f"look-{count}")
    bpy.context.preferences.view.ui_scale = 1.5
    yield from hands.settled()
    hands.picture("look-large")
    bpy.context.preferences.view.ui_scale = 0.7
    yield from hands.settled()
    hands.picture("look-small")
    bpy.context.preferences.view.ui_scale = 1.0
    for name, (spoil, says) in STATES.items():
        yield from hands.open_shot()
        spoil()
        yield 0.5
        yield from hands.check()
        yield from hands.settled()
        assert says.lower() in told().lower(), f"{name}: {told()}"
        hands.picture(f"look-{name}")
        hands.say(f"{name}: {told()[:160]}")
    for check, run in whole:
        check.run = run
    hands.theme("Blender_Light.xml")
    yield from hands.open_shot()
    yield from hands.check()
    yield from hands.settled()
    hands.scroll(30)
    yield from hands.settled()
    hands.picture("look-light")


hands.drive(steps())
