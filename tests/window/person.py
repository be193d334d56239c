# SPDX-License-Identifier: GPL-3.0-or-later
"""A person at work in the window, at a calm pace: what the stranger and the rigger are played by."""

import importlib.util
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

#: Seconds that a calm hand takes from one click or key to the next.
CALM = 1.2


class Person:
    """A person at work in the window: clicks and types at a calm pace, finds buttons by what they do, and counts.

    The clock stands still while buttons are looked for: a person sees where they are.
    """

    def __init__(self) -> None:
        self.acts = 0
        self._spent = 0.0
        self._since: float | None = time.perf_counter()

    @property
    def seconds(self) -> float:
        return self._spent + (0.0 if self._since is None else time.perf_counter() - self._since)

    def stop(self) -> None:
        self._spent, self._since = self.seconds, None

    def go_on(self) -> None:
        self._since = time.perf_counter()

    def click(self, x: float, y: float, where: Any = None) -> Iterator[float]:
        """The mouse comes, rests, and its button goes down and up, in a window (the first where none is given)."""
        self.acts += 1
        where, x, y = where or hands.window(), round(x), round(y)
        where.event_simulate(type="MOUSEMOVE", value="NOTHING", x=x - 1, y=y)
        yield CALM - 0.3
        where.event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
        where.event_simulate(type="LEFTMOUSE", value="PRESS", x=x, y=y)
        yield 0.1
        where.event_simulate(type="LEFTMOUSE", value="RELEASE", x=x, y=y)
        yield 0.2

    def keys(
        self, *names: str, where: Any = None, at: tuple[float, float] | None = None, **held: bool
    ) -> Iterator[float]:
        """Keys one after the other, the mouse resting at a place of a window (the middle of the 3D view)."""
        self.acts += 1
        where = where or hands.window()
        x, y = (round(v) for v in at or hands.beside())
        where.event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
        yield CALM - 0.3
        for name in names:
            where.event_simulate(type=name, value="PRESS", x=x, y=y, **held)
            where.event_simulate(type=name, value="RELEASE", x=x, y=y, **held)
            yield 0.3 / len(names)

    def press(self, does: str) -> Iterator[float]:
        """Clicks the button of the sidebar whose operator's call begins so ('plumbline.save_card(')."""
        self.stop()
        yield from hands.settled()
        place = yield from self._look(does)
        self.go_on()
        yield from self.click(*place)

    def _look(self, does: str) -> Iterator[Any]:
        """Where this button is, scrolling down to it where need be."""
        place = yield from find(does)
        if place is None:
            self.acts, self._spent = self.acts + 1, self._spent + CALM
            hands.scroll(12)
            yield from hands.settled()
            place = yield from find(does)
        assert place is not None, f"there is no button that does {does}"
        return place

    def show(self, name: str, box: tuple[float, float, float, float] | None = None) -> Iterator[float]:
        """Takes a picture while the clock stands."""
        self.stop()
        yield from hands.settled()
        hands.picture(name, box)
        self.go_on()

    def open_panel(self, below: str, headers: int, holds: str) -> Iterator[float]:
        """Opens a closed panel of the sidebar by a click on its header: the one that comes after so many other headers
        below the button ``below``. It holds a button ``holds`` then."""
        self.stop()
        yield from hands.settled()
        place = yield from self._look(below)
        self.go_on()
        yield from self.click(place[0], place[1] - 36 - 26 * headers)
        self.stop()
        yield from hands.settled()
        yield from self._look(holds)
        self.go_on()

    def choose_tab(self, name: str) -> Iterator[float]:
        """Clicks a tab at the sidebar's right edge."""
        bar, acts = hands.region("VIEW_3D", "UI"), self.acts
        assert bar.width > 1, "there is no sidebar"
        self.stop()  # the eye finds the tab by its name; the script, by trying
        for y in range(bar.y + bar.height - 30, bar.y, -30):
            if bar.active_panel_category == name:
                break
            yield from self.click(bar.x + bar.width - 12, y)
        assert bar.active_panel_category == name, f"there is no tab {name}"
        self.acts, self._spent = acts + 1, self._spent + CALM
        self.go_on()

    def choose_file(self, folder: Path, name: str = "") -> Iterator[float]:
        """In the file browser that has opened: goes to a folder that holds only what is meant, clicks the file, where
        one is named, and confirms."""
        until = time.perf_counter() + 10
        while (found := browser()) is None:
            assert time.perf_counter() < until, "no file browser has opened"
            yield 0.1
        yield 0.5
        where, place = found
        regions = {r.type: r for r in place.regions}
        top, list_, foot = regions["UI"], regions["WINDOW"], regions["EXECUTE"]
        path = (top.x + 250, top.y + top.height / 2)
        bpy.context.window_manager.clipboard = str(folder) + os.sep
        yield from self.click(*path, where)
        yield 0.4
        yield from self.keys("A", where=where, at=path, ctrl=True)
        yield from self.keys("V", where=where, at=path, ctrl=True)
        yield from self.keys("RET", where=where, at=path)
        yield 1.0
        shown = place.spaces.active.params
        for _ in range(3 if name else 0):  # the first click may only end the typing
            if shown.filename != name:
                yield from self.click(list_.x + 85, list_.y + list_.height - 39, where)
                yield 0.4
        assert not name or shown.filename == name, f"{shown.filename!r} was chosen, not {name!r}"
        for _ in range(3):
            yield from self.click(foot.x + foot.width - 73, foot.y + 22, where)
            yield 0.8
            if browser() is None:
                return
        raise AssertionError("the file browser does not close")


def browser() -> tuple[Any, Any] | None:
    """Window and area of the file browser that is open."""
    for where in bpy.context.window_manager.windows:
        for place in where.screen.areas:
            if place.type == "FILE_BROWSER":
                return where, place
    return None


def find(does: str) -> Iterator[Any]:
    """The place of the first button of the sidebar, from above, whose operator's call begins so; None where none is in
    sight. Blender tells by name what lies under the mouse."""
    bar = hands.region("VIEW_3D", "UI")
    for share in (0.25, 0.62, 0.84):
        x = bar.x + round(share * (bar.width - 30))
        for y in range(bar.y + bar.height - 20, bar.y + 4, -10):
            hands.window().event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
            yield 0.01
            where, screen, area = hands.window(), hands.window().screen, hands.area("VIEW_3D")
            with bpy.context.temp_override(window=where, screen=screen, area=area, region=bar):
                if bpy.ops.ui.copy_python_command_button.poll():
                    bpy.ops.ui.copy_python_command_button()
                    if bpy.context.window_manager.clipboard.startswith(f"bpy.ops.{does}"):
                        return x, y
    return None
