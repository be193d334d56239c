# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks in every editor of time, the character's card and the arcs of its limits, as pictures for docs."""

import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

PANELS = ("PLUMBLINE_PT_card", "PLUMBLINE_PT_body_map", "PLUMBLINE_PT_joint_limits", "PLUMBLINE_PT_stretch")


def upper(kind: str, width: float, height: float) -> tuple[float, float, float, float]:
    """The upper left part of an editor, no larger than this."""
    left, bottom, wide, high = hands.around(kind)
    height = min(high, height)
    return (left, bottom + high - height, min(wide, width), height)


def left_part(kind: str, width: float) -> tuple[float, float, float, float]:
    """The left part of an editor, no wider than this."""
    left, bottom, wide, high = hands.around(kind)
    return (left, bottom, min(wide, width), high)


#: Controls whose keys the pictures show.
CONTROLS = ("torso", "chest", "head", "hand_ctrl.L", "hand_ctrl.R", "foot_ctrl.L", "foot_ctrl.R")


def pose(controls: tuple[str, ...]) -> None:
    """In pose mode with these controls selected."""
    with hands.inside():
        bpy.context.view_layer.objects.active = hands.rig()
        hands.rig().select_set(True)
        bpy.ops.object.mode_set(mode="POSE")
        for bone in hands.rig().pose.bones:
            hands.module("compat").select_bone(bone, bone.name in controls)


def editors_of_time() -> Iterator[float]:
    window = hands.window()
    layout = window.workspace
    window.workspace = bpy.data.workspaces["Animation"]
    yield 1.5
    note = hands.go_to("linear-span")
    pose(CONTROLS)
    hands.scene().frame_set(note.start - 9)
    place = hands.area("DOPESHEET_EDITOR")
    place.spaces.active.show_region_ui = False
    yield 0.8
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.ops.anim.channels_collapse(all=True)
        bpy.ops.action.view_all()
    yield 0.8
    assert rows_of_marks() > 0, "a Dope Sheet with room under its channels has rows"
    here, charting = hands.module("settings").state(), hands.module("charting")
    low = place.height
    yield from hands.higher("DOPESHEET_EDITOR", 120)
    for _ in range(2):  # a level each time
        with hands.inside("DOPESHEET_EDITOR"):
            bpy.ops.anim.channels_expand(all=True)
        yield 0.4
    assert rows_of_marks() > 0, "there is room under the controls"
    hands.picture("marks-dope-sheet", left_part("DOPESHEET_EDITOR", 1060))
    yield from hands.higher("DOPESHEET_EDITOR", 180)  # room for most rows of the chart
    assert place.height > low + 200, "the editor did not grow"
    yield from covers_no_key(charting, "with room under the channels")
    here.show_chart = True
    yield 0.8
    hands.picture("marks-chart", left_part("DOPESHEET_EDITOR", 1060))
    here.show_chart = False
    for _ in range(4):
        with hands.inside("DOPESHEET_EDITOR"):
            bpy.ops.anim.channels_expand(all=True)
        yield 0.4
    assert rows_of_marks() == 0, "rows of marks lie over keys"
    yield from covers_no_key(charting, "with more channels than fit")
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.ops.anim.channels_collapse(all=True)
        bpy.ops.anim.channels_expand(all=False)
    yield from hands.higher("DOPESHEET_EDITOR", low - place.height)
    pose(("head",))
    place.ui_type = "FCURVES"
    place.spaces.active.show_region_ui = False
    yield 0.8
    with hands.inside("GRAPH_EDITOR"):
        bpy.ops.graph.view_all()
    yield 0.8
    hands.picture("marks-graph", left_part("GRAPH_EDITOR", 1060))
    place.ui_type = "NLA_EDITOR"
    yield 1.0
    with hands.inside("NLA_EDITOR"):
        bpy.ops.nla.view_all()
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None and found[1].top == 0, "the NLA editor has the rail"
    yield 0.8
    hands.picture("marks-nla", upper("NLA_EDITOR", 1000, 170))
    place.ui_type = "DOPESHEET"
    with hands.inside():
        bpy.ops.object.mode_set(mode="OBJECT")
    window.workspace = layout
    yield 1.0
    hands.say("marks in the dope sheet, the graph editor and the NLA editor")


def rows_of_marks() -> float:
    """Pixels that the rows take at the foot of the Dope Sheet, 0 where the rail is drawn."""
    with hands.inside("DOPESHEET_EDITOR"):
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None, "there are no marks"
    return float(found[1].top)


def covers_no_key(charting: Any, when: str) -> Iterator[float]:
    """Compares the screen with the chart and without it: only what lies under the last channel may differ."""
    here, region = hands.module("settings").state(), hands.region("DOPESHEET_EDITOR", "WINDOW")
    list_ = hands.region("DOPESHEET_EDITOR", "CHANNELS")
    seen = []
    for on in (False, True):
        here.show_chart = on
        if on:
            yield from charted(charting)
        region.tag_redraw()
        yield 0.8
        seen.append(hands.screen_pixels())
    here.show_chart = False
    # of the list of channels, what is not its bare ground
    names = seen[0][list_.y : list_.y + list_.height, list_.x + 4 : list_.x + list_.width - 30]
    ground = np.median(names[4], axis=0)
    rows = np.flatnonzero(np.abs(names - ground).max(axis=(1, 2)) > 0.04)
    lowest = int(rows[rows > 4].min()) if (rows > 4).any() else list_.height
    part = (slice(region.y, region.y + region.height), slice(region.x, region.x + region.width))
    drawn = np.flatnonzero((seen[0][part] != seen[1][part]).any(axis=(1, 2)))
    top = int(drawn.max()) if len(drawn) else -1
    assert top < lowest, f"{when}: the chart reaches pixel {top}, the channels end at {lowest}"
    hands.say(f"{when} the chart ends at pixel {top}, the channels at {lowest}")


def charted(charting: Any) -> Iterator[float]:
    """Until the timing chart of the shot is worked out and drawn."""
    until = time.perf_counter() + 20
    while charting.charts_of(hands.scene()) is None:
        assert time.perf_counter() < until, "the timing chart is not worked out"
        yield 0.2
    hands.area("DOPESHEET_EDITOR").tag_redraw()
    yield 0.8


def limits_and_card() -> Iterator[float]:
    here = hands.module("settings").state()
    note = hands.go_to("joint-limit")
    hands.near(note, 1.2)
    hands.area("VIEW_3D").spaces.active.region_3d.view_location.z += 0.22  # so that it lies beside the panel
    overlay = hands.area("VIEW_3D").spaces.active.overlay
    overlay.show_text = overlay.show_cursor = False
    here.limit_part, here.show_arcs = note.part, True
    yield from hands.settled()
    assert hands.module("limit_arcs").shapes(hands.scene()), "no arcs"
    hands.scroll(60)
    yield from hands.settled()
    bar = hands.region("VIEW_3D", "UI")
    hands.picture("card-limits", (bar.x - 560, bar.y, 560 + bar.width - 26, 430))
    hands.scroll(-7)
    yield from hands.settled()
    hands.picture("card-map", (bar.x, bar.y, bar.width, bar.height))
    here.show_arcs = False
    yield 0.6
    hands.say("the card, and the arcs of limits")


def steps() -> Iterator[float]:
    hands.install()
    hands.open_panels(PANELS, ("PLUMBLINE_PT_weights", "PLUMBLINE_PT_timeline_markers"))
    yield from hands.open_shot()
    yield from hands.check()
    yield 0.5
    yield from editors_of_time()
    yield from limits_and_card()


hands.drive(steps())
