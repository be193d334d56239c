# SPDX-License-Identifier: GPL-3.0-or-later
"""A new character from nothing: Rigify's human with one fault in its keys, to a saved card with a limit by pose, with
mouse and keys."""

import importlib.util
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("person", Path(__file__).with_name("person.py"))
person: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(person)
hands = person.hands

#: Seconds within which a card is saved, at a calm hand's pace; Rigify's own work is in it, setting the keys is not.
MOST = 120


def generated() -> Any:
    """Rigify's human in an empty file, in pose mode."""
    with hands.inside():
        bpy.ops.preferences.addon_enable(module="rigify")
        bpy.ops.object.select_all(action="SELECT")
        bpy.ops.object.delete()
        bpy.ops.object.armature_human_metarig_add()
        meta = bpy.context.object
        bpy.ops.pose.rigify_generate()
        rig = next(o for o in bpy.data.objects if o.type == "ARMATURE" and o != meta)
        meta.hide_set(True)
        bpy.context.view_layer.objects.active = rig
        rig.select_set(True)
        bpy.ops.object.mode_set(mode="POSE")
        bpy.ops.ed.undo_push(message="a rig")
    return rig


def posed(rig: Any) -> None:
    """A few keys: an arm by hand of FK, whose wrist tilts too far at frame 20."""
    bones = rig.pose.bones
    bones["upper_arm_parent.L"]["IK_FK"] = 1.0
    for frame, tilt in ((1, 0.0), (20, 1.75), (40, 0.0)):
        for name, turn in (("upper_arm_fk.L", -0.5), ("forearm_fk.L", 0.3), ("hand_fk.L", tilt)):
            bone = bones[name]
            bone.rotation_mode = "XYZ"
            bone.rotation_euler = (turn, 0, 0)
            bone.keyframe_insert("rotation_euler", frame=frame)
    scene = hands.scene()
    scene.frame_start, scene.frame_end = 1, 40
    scene.frame_set(1)
    bpy.context.view_layer.update()
    with hands.inside():
        bpy.ops.ed.undo_push(message="keys")


def wrist() -> list[Any]:
    return [n for n in hands.checked().notes if n.check == "joint-limit" and n.part == "hand.L"]


def steps() -> Iterator[float]:
    hands.install()
    hands.key("ESC")  # the splash of a first start
    yield 0.5
    me = person.Person()
    rig = generated()
    yield 0.5
    hands.say(f"a rig from Rigify after {me.seconds:.0f} s")
    me.stop()  # an animator's work
    posed(rig)
    yield 0.5
    me.go_on()
    yield from me.keys("N")
    yield 1.0
    yield from me.choose_tab("Plumbline")
    yield from me.press("plumbline.check_shot(")
    session, until = hands.module("session"), time.perf_counter() + 60
    while session.job is not None or hands.checked() is None:
        assert time.perf_counter() < until, "Check Shot does nothing"
        yield 0.1
    found = hands.checked()
    names = [(c.name, len(c.parts)) for c in found.shot.characters]
    hands.say(f"{len(found.notes)} notes after {me.seconds:.0f} s; characters and their parts: {names}")
    assert [name for name, _ in names] == [rig.name], "the meta-rig is no character"
    assert wrist(), [(n.check, n.part, n.text) for n in found.notes]
    me.stop()
    yield from hands.settled()
    me.go_on()
    bar = hands.region("VIEW_3D", "UI")
    yield from me.click(bar.x + bar.width // 2 - 20, bar.y + bar.height - 137)
    yield 1.0
    assert hands.scene().frame_current == wrist()[0].worst, "a click on the note goes nowhere"
    yield from me.show("look-rigify-notes")
    silent = len(hands.module("panels.not_checked").silent(found)) > 0
    yield from me.open_panel("plumbline.set_aside(", int(silent), "plumbline.save_card(")
    yield from me.open_panel("plumbline.load_card(", 1, "plumbline.set_limit(")
    assert hands.module("settings").state().limit_part == "hand.L", "the limits shown are not those of the note's part"
    yield from me.show("look-rigify-card")
    yield from me.press("plumbline.limit_from_pose(")
    yield 0.5
    assert session.edited(hands.scene()), "a new limit asks for a new check"
    folder = hands.OUT / "cards"
    folder.mkdir(exist_ok=True)
    yield from me.press("plumbline.save_card(")
    yield from me.choose_file(folder)
    yield 1.0
    saved = folder / f"{rig.name}.json"
    card = json.loads(saved.read_text("utf-8"))
    hands.say(
        f"a card with {len(card['map'])} parts and the limits {card['limits']} saved after {me.seconds:.0f} s and "
        f"{me.acts} clicks and keys"
    )
    assert card["limits"] and len(card["map"]) == len(found.shot.characters[0].parts) and me.seconds < MOST
    hands.scroll(-80)
    yield from me.press("plumbline.check_shot(")
    while session.job is not None or hands.checked() is found:
        yield 0.1
    assert not wrist(), "the limit that was taken does not hold"
    hands.say(f"checked again after {me.seconds:.0f} s: no note of the wrist is left")
    yield from hands.settled()
    with hands.inside():
        bpy.ops.ed.undo()
    yield 1.0
    assert not rig_card(), f"the undo of a limit leaves the card {rig_card()}"
    hands.say("undone: the card is gone from the armature")


def rig_card() -> str:
    """The card on the generated rig."""
    rig = next(o for o in hands.scene().objects if o.type == "ARMATURE" and o.mode == "POSE")
    return str(rig.get(hands.module("sampling.kept_cards").CARD_PROPERTY, ""))


hands.drive(steps())
