# SPDX-License-Identifier: GPL-3.0-or-later
"""Each remedy on keys by the button on its note: what the note says then, one undo, one redo."""

import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np

_spec: Any = importlib.util.spec_from_file_location("person", Path(__file__).with_name("person.py"))
person: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(person)
hands = person.hands

#: The check whose note it is, and the operator that its button runs.
REMEDIES = {
    "dead-stop": "settle_stop",
    "frozen-part": "let_drift",
    "jitter": "smooth_wiggle",
    "uneven-spacing": "land_frame",
    "twinned-stop": "offset_block",
    "stuck-in-space": "let_follow",
    "pop": "soften_snap",
    "off-balance": "shift_hips",
}


def keys() -> dict[tuple[str, float], float]:
    """The value of each key, by its curve and frame."""
    curves_of = hands.module("compat").curves_of
    return {
        (f"{thing.name} {curve.data_path}[{curve.array_index}]", round(point.co.x, 3)): point.co.y
        for thing in hands.scene().objects
        for curve, _ in curves_of(thing)
        for point in curve.keyframe_points
    }


def alike(one: dict[tuple[str, float], float], other: dict[tuple[str, float], float]) -> bool:
    return one.keys() == other.keys() and np.allclose(
        [one[k] for k in sorted(one)], [other[k] for k in sorted(one)], atol=1e-6
    )


def by_button(check: str, operator: str) -> Iterator[float]:
    session, mending, same = hands.module("session"), hands.module("mending"), hands.core("takes").same
    yield from hands.open_shot(hands.OUT / f"remedy-{check}.blend")
    hands.area("VIEW_3D").spaces.active.region_3d.view_perspective = "PERSP"
    yield from hands.check()
    with hands.inside():
        bpy.ops.ed.undo_push(message="as it was opened")
    note = next(n for n in hands.checked().notes if n.check == check)
    hands.module("settings").show_row(hands.checked().notes.index(note), hands.scene())
    before, told = keys(), []
    outcome = mending.outcome

    def heard(notes: Any) -> str:
        told.append(str(outcome(notes)))
        return told[-1]

    mending.outcome = heard
    someone = person.Person()
    yield from someone.press(f"plumbline.{operator}(")
    until = time.perf_counter() + 30
    while not told or session.job is not None:
        assert time.perf_counter() < until, f"{operator} was pressed and nothing was said"
        yield 0.05
    mending.outcome = outcome
    yield from hands.settled()
    after, left = keys(), [n for n in hands.checked().notes if same(note, n) and n.set_aside is None]
    assert not alike(before, after), f"{operator} has changed no key"
    assert told[-1].endswith(": gone") or " left, it was " in told[-1], told
    assert told[-1].endswith(": gone") == (not left), f"{operator} says {told[-1]!r}, and {len(left)} are left"
    assert not session.edited(hands.scene()), "the check that followed is not the newest"
    hands.key("Z", ctrl=True)
    yield 1.5
    assert alike(keys(), before), f"one undo does not take {operator} back"
    hands.key("Z", ctrl=True, shift=True)
    yield 1.5
    assert alike(keys(), after), f"one redo does not do {operator} again"
    hands.say(f"{operator} by its button: {told[-1]!r}; undo and redo")


def steps() -> Iterator[float]:
    hands.install()
    for check, operator in REMEDIES.items():
        yield from by_button(check, operator)


hands.drive(steps())
