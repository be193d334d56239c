# SPDX-License-Identifier: GPL-3.0-or-later
"""Esc on a heavy shot: a generated rig with a dense skin among dense meshes, stopped all through a check, the pressing
timed as a person sees it: from the key to the end. Blender has no reason to draw its views again while a check runs;
without a graphics card it would take longer over such a shot than Esc may."""

import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

#: Seconds within which Esc is to end a check, and how often it is pressed.
LIMIT, TIMES = 0.2, 16
#: Drawings of the view that a whole check may ask for: after its end.
DRAWINGS = 1


class Drawings:
    """When the view was drawn: seconds (start, end)."""

    def __init__(self) -> None:
        self.all: list[tuple[float, float]] = []
        self._start = 0.0
        for function, when in ((self._begin, "PRE_VIEW"), (self._end, "POST_PIXEL")):
            bpy.types.SpaceView3D.draw_handler_add(function, (), "WINDOW", when)

    def _begin(self) -> None:
        self._start = time.perf_counter()

    def _end(self) -> None:
        self.all.append((self._start, time.perf_counter()))

    def within(self, start: float, end: float) -> float:
        """Seconds of a stretch of time in which the view was drawn."""
        return sum(max(0.0, min(end, b) - max(start, a)) for a, b in self.all)


def steps() -> Iterator[float]:
    hands.install()
    session, checking = hands.module("session"), hands.module("checking")
    yield from hands.open_shot(hands.OUT / "heavy.blend")
    drawings = Drawings()
    for _ in range(2):  # the first time more is imported
        yield from hands.settled()
        drawings.all.clear()
        started = time.perf_counter()
        yield from hands.check()
        seconds = time.perf_counter() - started
    hands.say(f"a whole check takes {seconds:.1f} s: {len(hands.checked().notes)} notes")
    count, longest = len(drawings.all), max((b - a for a, b in drawings.all), default=0.0)
    hands.say(f"the view was drawn {count} times meanwhile, {longest:.2f} s each at the most")
    assert count <= DRAWINGS, "the view is drawn too often"
    session.clear()
    yield from hands.settled()

    spent: dict[str, list[float]] = {"slice": [], "stop": [], "settle": []}
    kept = {name: getattr(checking.Checking, name) for name in spent}
    for name, function in kept.items():

        def clocked(job: Any, *words: Any, _of: Any = function, _name: str = name) -> Any:
            start = time.perf_counter()
            try:
                return _of(job, *words)
            finally:
                spent[_name].append(time.perf_counter() - start)

        setattr(checking.Checking, name, clocked)
    waits: list[tuple[float, float, str]] = []
    for n in range(TIMES):
        yield 1.0  # until the window, which is drawn without a graphics card, has come to rest
        hands.press(*hands.button())
        until = time.perf_counter() + 10
        while session.job is None:
            assert time.perf_counter() < until, "the button did not start a check"
            yield 0.001
        until = time.perf_counter() + seconds * n / TIMES  # the first time at once
        while session.job is not None and time.perf_counter() < until:
            yield 0.001
        if session.job is None:  # it was faster than the first
            session.clear()
            continue
        stage, asked = hands.module("operators.check_shot").progress_text(session.job), time.perf_counter()
        hands.key("ESC")
        while session.job is not None:
            yield 0.001
        ended = time.perf_counter()
        waits.append((ended - asked - drawings.within(asked, ended), ended - asked, stage))
        assert session.of(hands.scene()) is None and hands.quiet(), "Esc left something"
    for name, function in kept.items():
        setattr(checking.Checking, name, function)
    hands.say("Esc stopped after " + ", ".join(f"{w:.2f}" for _, w, _ in waits) + " s")
    least, most, stage = max(waits, key=lambda w: w[1])
    hands.say(f"{most:.3f} s at the most ({stage}), {most - least:.3f} s of it in drawings")
    for name, each in spent.items():
        hands.say(f"{name}: {max(each):.3f} s at the most, {sorted(each)[len(each) // 2]:.3f} s as a rule, {len(each)}")
    assert all(most == least for least, most, _ in waits), "the view is drawn in the middle of a check"
    assert len(waits) > TIMES // 2 and max(w for _, w, _ in waits) < LIMIT, "Esc takes longer than it may"


hands.drive(steps())
