# SPDX-License-Identifier: GPL-3.0-or-later
"""A stranger's first minutes: README followed word by word with mouse and keys, from the zip to the first note."""

import importlib.util
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("person", Path(__file__).with_name("person.py"))
person: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(person)
hands = person.hands

#: Seconds within which the first note is read, at a calm hand's pace.
MOST = 120
#: Where Blender 5.2 has what cannot be asked: pixels from the upper left of the window at ui_scale 1.
EDIT, GET_EXTENSIONS, ARROW, INSTALL = (79, 14), (60, 192), (855, 16), (748, 139)


def alone(path: Path) -> Path:
    """A folder that holds this file alone, as a download folder would show it."""
    folder: Path = hands.OUT / f"only-{path.suffix[1:]}"
    folder.mkdir(exist_ok=True)
    shutil.copy(path, folder)
    return folder


def at(where: Any, spot: tuple[int, int]) -> tuple[int, int]:
    return spot[0], where.height - spot[1]


def install(me: Any) -> Iterator[float]:
    """Edit, Preferences, Get Extensions, the arrow at the upper right, Install from Disk, the zip."""
    yield from me.keys("ESC")  # the splash of a first start
    for _ in range(3):  # a slow machine may miss a key
        yield from me.click(*at(hands.window(), EDIT))
        yield 0.5
        yield from me.keys("P", at=at(hands.window(), EDIT))  # the letter that the menu underlines
        yield 1.5
        if len(bpy.context.window_manager.windows) > 1:
            break
    where = bpy.context.window_manager.windows[1]
    assert where.screen.areas[0].type == "PREFERENCES"
    yield from me.click(*at(where, GET_EXTENSIONS), where)
    yield 0.8
    yield from me.click(*at(where, ARROW), where)
    yield 0.3
    yield from me.click(*at(where, INSTALL), where)
    yield from me.choose_file(alone(hands.ZIP), hands.ZIP.name)
    until = time.perf_counter() + 20
    while "bl_ext.user_default.plumbline" not in bpy.context.preferences.addons:
        assert time.perf_counter() < until, "the zip was not installed"
        yield 0.2
    hands.say(f"installed after {me.seconds:.0f} s and {me.acts} clicks and keys, in {bpy.app.version_string}")
    with bpy.context.temp_override(window=where):
        bpy.ops.wm.window_close()
    me.acts += 1
    yield person.CALM


def open_a_shot(me: Any) -> Iterator[float]:
    yield from me.keys("O", ctrl=True)
    yield from me.choose_file(alone(hands.SHOT), hands.SHOT.name)
    until = time.perf_counter() + 20
    while Path(bpy.data.filepath).name != hands.SHOT.name:
        assert time.perf_counter() < until, "the shot was not opened"
        yield 0.2
    yield 0.8


def steps() -> Iterator[float]:
    bpy.context.preferences.view.show_splash = False
    yield 0.5
    me = person.Person()
    yield from install(me)
    yield from open_a_shot(me)
    yield from me.keys("N")
    yield 1.0
    yield from me.choose_tab("Plumbline")
    hands.say(f"the shot is open and the tab found after {me.seconds:.0f} s")
    yield from me.press("plumbline.check_shot(")
    asked = time.perf_counter()
    session = hands.module("session")
    until = time.perf_counter() + 60
    while session.job is not None or hands.checked() is None:
        assert time.perf_counter() < until, "Check Shot does nothing"
        yield 0.1
    assert hands.checked().notes, hands.checked().why
    hands.say(
        f"{len(hands.checked().notes)} notes after {me.seconds:.0f} s, {time.perf_counter() - asked:.0f} s of them "
        "for the check"
    )
    me.stop()
    yield from hands.settled()
    me.go_on()
    bar = hands.region("VIEW_3D", "UI")
    yield from me.click(bar.x + bar.width // 2 - 20, bar.y + bar.height - 137)
    yield 1.0
    number = hands.module("settings").active_number(bpy.context)
    note = hands.checked().notes[number]
    assert hands.scene().frame_current == note.worst, "a click on a note goes nowhere"
    seconds = me.seconds
    yield from hands.settled()
    hands.picture("look-stranger", hands.around("VIEW_3D"))
    hands.say(f"a stranger reads the first note after {seconds:.0f} s and {me.acts} clicks and keys: {note.text}")
    assert seconds < MOST


hands.drive(steps())
