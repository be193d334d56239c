# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks in every editor of time, the character's card and the arcs of its limits, as pictures for docs."""

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

PANELS = ("PLUMBLINE_PT_card", "PLUMBLINE_PT_body_map", "PLUMBLINE_PT_joint_limits", "PLUMBLINE_PT_stretch")


def middle(kind: str, width: float, height: float) -> tuple[float, float, float, float]:
    """The lower left part of an editor, no larger than this."""
    left, bottom, wide, high = hands.around(kind)
    return (left, bottom, min(wide, width), min(high, height))


def editors_of_time() -> Iterator[float]:
    window = hands.window()
    layout = window.workspace
    window.workspace = bpy.data.workspaces["Animation"]
    yield 1.5
    hands.go_to("slip")
    place = hands.area("DOPESHEET_EDITOR")
    place.spaces.active.dopesheet.show_only_selected = False
    yield 0.8
    with hands.inside("DOPESHEET_EDITOR"):
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None and found[1].top > 0, "a tall Dope Sheet has rows"
    hands.picture("marks-dope-sheet", middle("DOPESHEET_EDITOR", 1000, 330))
    place.ui_type = "FCURVES"
    yield 0.8
    with hands.inside("GRAPH_EDITOR"):
        bpy.ops.graph.view_all()
    yield 0.8
    hands.picture("marks-graph", middle("GRAPH_EDITOR", 1000, 400))
    place.ui_type = "NLA_EDITOR"
    yield 1.0
    with hands.inside("NLA_EDITOR"):
        bpy.ops.nla.view_all()
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None and found[1].top == 0, "the NLA editor has the rail"
    yield 0.8
    hands.picture("marks-nla", middle("NLA_EDITOR", 1000, 300))
    place.ui_type = "DOPESHEET"
    window.workspace = layout
    yield 1.0
    hands.say("marks in the dope sheet, the graph editor and the NLA editor")


def limits_and_card() -> Iterator[float]:
    hands.open_panels(PANELS)
    here = hands.module("settings").state()
    note = hands.go_to("joint-limit")
    hands.near(note, 1.2)
    overlay = hands.area("VIEW_3D").spaces.active.overlay
    overlay.show_text = overlay.show_cursor = False
    here.limit_part, here.show_arcs = note.part, True
    yield from hands.settled()
    assert hands.module("limit_arcs").shapes(hands.scene()), "no arcs"
    left, bottom, wide, high = hands.around("VIEW_3D", "WINDOW")
    bar = hands.region("VIEW_3D", "UI")
    hands.picture("card-arcs", (left + (wide - bar.width) / 2 - 250, bottom + high / 2 - 190, 500, 380))
    hands.scroll(30)
    yield from hands.settled()
    hands.picture("card-panel", (bar.x, bar.y, bar.width, bar.height))
    here.show_arcs = False
    yield 0.6
    hands.say("the card, and the arcs of limits")


def steps() -> Iterator[float]:
    hands.install()
    yield from hands.open_shot()
    yield from hands.check()
    yield 0.5
    yield from editors_of_time()
    yield from limits_and_card()


hands.drive(steps())
