# SPDX-License-Identifier: GPL-3.0-or-later
"""The face on the light theme and in a large interface: pictures of evidence, marks and card; and how well the words on
the plate are read, measured on the screen over dark, light and white grounds."""

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

#: Contrast that words have at the least.
READ = 4.5
#: Controls whose keys the pictures show.
CONTROLS = ("torso", "chest", "head", "hand_ctrl.L", "hand_ctrl.R", "foot_ctrl.L", "foot_ctrl.R")
DARK, LIGHT = "Blender_Dark.xml", "Blender_Light.xml"


def bare(on: bool) -> None:
    """Without Blender's own marks in the view, or with them again."""
    space = hands.area("VIEW_3D").spaces.active
    space.show_gizmo_navigate = not on
    for name in ("show_text", "show_cursor", "show_bones"):
        setattr(space.overlay, name, not on)


def white(on: bool) -> None:
    """The view's ground white, or the theme's."""
    shading = hands.area("VIEW_3D").spaces.active.shading
    shading.background_type = "VIEWPORT" if on else "THEME"
    shading.background_color = (1.0, 1.0, 1.0)


def words_on_the_plate() -> tuple[float, float]:
    """Contrast of the plate's first row and of its second, as the screen shows them: the brightest of the words against
    the brightest of what lies about them."""
    (left, bottom, right, top), _ = hands.plate_and_evidence()
    unit = bpy.context.preferences.system.ui_scale
    region = hands.region("VIEW_3D", "WINDOW")
    pixels = hands.screen_pixels()
    out = []
    for low, high in ((22, 38), (6, 19)):  # of the plate's 42 pixels, where the rows lie
        part = pixels[
            round(region.y + bottom + low * unit) : round(region.y + bottom + high * unit),
            round(region.x + left + 26 * unit) : round(region.x + right - 14 * unit),
        ].reshape(-1, 3)
        light = part @ [0.2126, 0.7152, 0.0722]
        order = np.argsort(light)
        words = part[order[-max(8, len(order) // 100) :]].mean(0)
        # a fifth of a row is ink; beside the words the ground shows, at its brightest
        ground = part[order[: len(order) // 2]].max(0)
        out.append(hands.contrast(words, ground))
    return out[0], out[1]


def words_are_read() -> Iterator[float]:
    bare(True)
    for theme in (DARK, LIGHT):
        hands.theme(theme)
        for ground in (False, True):
            white(ground)
            note = hands.go_to("joint-limit")
            hands.near(note)
            yield 1.0
            first, second = words_on_the_plate()
            name = f"{Path(theme).stem.replace('_', ' ')}{', white ground' if ground else ''}"
            hands.say(f"words on the plate: {first:.1f} and {second:.1f} in {name}")
            assert min(first, second) >= READ, f"words are hard to read in {name}"
    white(False)


def words_of_the_sidebar(where: str) -> Iterator[float]:
    """Contrast of the faintest line of the sidebar: of each row of pixels what stands out most from its ground, of each
    line its best row."""
    yield from hands.settled()
    bar = hands.region("VIEW_3D", "UI")
    pixels = hands.screen_pixels()[bar.y : bar.y + bar.height, bar.x + 22 : bar.x + bar.width - 45]
    grounds = np.median(pixels, axis=1)
    apart = np.abs(pixels - grounds[:, None]).sum(-1)
    words = pixels[np.arange(len(pixels)), apart.argmax(axis=1)]
    inked = (apart > 0.25).sum(axis=1) >= 6  # so few pixels are an icon's or an edge
    lines = np.split(np.arange(len(pixels)), np.flatnonzero(np.diff(inked)) + 1)
    best = [
        (max(hands.contrast(words[y], grounds[y]) for y in line), int(line[0]))
        for line in lines
        if inked[line[0]] and 5 <= len(line) <= 16
    ]
    assert len(best) >= 8, f"{len(best)} lines of the sidebar were found"
    least, at = min(best)
    hands.say(f"words of the sidebar, {where}: {least:.1f} at the least in {len(best)} lines")
    assert least >= READ, f"{where}: words at pixel {at} of the sidebar are hard to read"


def sidebar_is_read() -> Iterator[float]:
    for theme in (DARK, LIGHT):
        hands.theme(theme)
        hands.go_to("slip")
        name = Path(theme).stem.replace("_", " ")
        hands.scroll(-80)
        yield from words_of_the_sidebar(f"a note on {name}")
        hands.scroll(60)
        yield from words_of_the_sidebar(f"the card on {name}")
        hands.scroll(-80)


def light_pictures() -> Iterator[float]:
    hands.theme(LIGHT)
    note = hands.go_to("slip")
    hands.near(note, 1.2)
    yield from hands.settled()  # a picture that was read counts as an edit until it is looked at
    hands.picture("evidence-light", hands.around("VIEW_3D"), percent=66)  # the theme shows about the view
    bare(False)
    yield 1.0
    hands.scroll(60)
    yield from hands.settled()
    bar = hands.region("VIEW_3D", "UI")
    hands.picture("card-light", (bar.x, bar.y, bar.width, min(bar.height, 560)))
    hands.scroll(-80)
    layout = hands.window().workspace
    hands.window().workspace = bpy.data.workspaces["Animation"]
    yield 1.5
    with hands.inside():
        bpy.context.view_layer.objects.active = hands.rig()
        hands.rig().select_set(True)
        bpy.ops.object.mode_set(mode="POSE")
        for bone in hands.rig().pose.bones:
            hands.module("compat").select_bone(bone, bone.name in CONTROLS)
        hands.scene().frame_set(84)
    place = hands.area("DOPESHEET_EDITOR")
    place.spaces.active.show_region_ui = False
    yield 0.8
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.ops.anim.channels_expand(all=True)
        bpy.ops.action.view_all()
    yield 0.8
    left, bottom, width, height = hands.around("DOPESHEET_EDITOR")
    hands.picture("marks-light", (left, bottom, min(width, 1060), height))
    with hands.inside():
        bpy.ops.object.mode_set(mode="OBJECT")
    hands.window().workspace = layout
    yield 1.0
    hands.say("evidence, card and marks on the light theme")


def large() -> Iterator[float]:
    """Everything that is drawn is twice as large in an interface twice as large."""
    hands.theme(DARK)
    bare(True)
    hands.area("VIEW_3D").spaces.active.show_region_ui = False
    boxes = []
    for scale in (1.0, 2.0):
        bpy.context.preferences.view.ui_scale = scale
        hands.near(hands.go_to("overextension"))
        yield 1.5
        plate, _ = hands.plate_and_evidence()
        boxes.append(plate[2:] - plate[:2])
    grown = boxes[1] / boxes[0]
    hands.picture("evidence-large", hands.evidence_box(1100, 620), percent=66)
    bpy.context.preferences.view.ui_scale = 1.0
    hands.area("VIEW_3D").spaces.active.show_region_ui = True
    bare(False)
    yield 1.0
    assert np.allclose(grown, 2.0, atol=0.1), f"the plate is {grown} times as large"
    hands.say("evidence is twice as large at ui_scale 2")


def steps() -> Iterator[float]:
    hands.install()
    hands.open_panels(
        ("PLUMBLINE_PT_card", "PLUMBLINE_PT_joint_limits", "PLUMBLINE_PT_stretch"),
        ("PLUMBLINE_PT_body_map", "PLUMBLINE_PT_weights", "PLUMBLINE_PT_timing_chart", "PLUMBLINE_PT_timeline_markers"),
    )
    yield from hands.open_shot()
    yield from hands.check()
    yield from hands.settled()
    yield from words_are_read()
    yield from sidebar_is_read()
    yield from light_pictures()
    yield from large()


hands.drive(steps())
