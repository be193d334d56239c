# SPDX-License-Identifier: GPL-3.0-or-later
"""A new character from nothing: Rigify's human with one fault in its keys, to a saved card with a limit by pose."""

import importlib.util
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

#: Seconds within which a card is made, generating the rig left out.
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


def wrist() -> list[Any]:
    return [n for n in hands.checked().notes if n.check == "joint-limit" and n.part == "hand.L"]


def steps() -> Iterator[float]:
    hands.install()
    hands.open_panels(
        ("PLUMBLINE_PT_card", "PLUMBLINE_PT_joint_limits"), ("PLUMBLINE_PT_body_map", "PLUMBLINE_PT_stretch")
    )
    hands.key("ESC")  # the splash of a first start
    yield 0.5
    rig = generated()
    posed(rig)
    space = hands.area("VIEW_3D").spaces.active
    space.show_region_ui = True
    yield 0.5
    hands.region("VIEW_3D", "UI").active_panel_category = "Plumbline"
    yield 1.0
    started = time.perf_counter()
    yield from hands.check()
    yield 0.5
    found = hands.checked()
    hands.say(
        f"{len(found.notes)} notes; {len(found.shot.characters[0].parts)} parts of {found.shot.characters[0].name}"
    )
    assert wrist(), [(n.check, n.part, n.text) for n in found.notes]
    hands.go_to("joint-limit")
    yield from hands.settled()
    hands.picture("look-rigify-notes")
    here = hands.module("settings").state()
    here.limit_part, here.show_arcs = "hand.L", True
    yield from hands.settled()
    hands.scroll(30)
    yield from hands.settled()
    hands.picture("look-rigify-card")
    angle = next(
        row.name
        for row in hands.core("tables.joint_ranges").RANGES
        if row.part == "hand" and (hands.module("limit_arcs").degrees(hands.scene(), "hand.L", row.name) or 0) > 60
    )
    with hands.inside():
        assert bpy.ops.plumbline.limit_from_pose(
            "INVOKE_DEFAULT", True, character=rig.name, angle=angle, part="hand.L"
        ) == {"FINISHED"}
        path = hands.OUT / "rigify.json"
        assert bpy.ops.plumbline.save_card("EXEC_DEFAULT", True, character=rig.name, filepath=str(path)) == {"FINISHED"}
    yield 0.5
    assert hands.module("session").edited(hands.scene()), "a new limit asks for a new check"
    here.show_arcs = False
    hands.scroll(-80)
    yield from hands.settled()
    yield from hands.check()
    yield 0.5
    seconds = time.perf_counter() - started
    card = json.loads(path.read_text("utf-8"))
    hands.say(
        f"a card with the limit {card['limits']} after {seconds:.0f} s, pictures included; notes then: {len(wrist())}"
    )
    assert not wrist() and card["limits"] and seconds < MOST
    with hands.inside():
        bpy.ops.ed.undo()
    yield 1.0
    hands.say("undone: the limits of the card are " + (rig_card() or "gone"))


def rig_card() -> str:
    from_name = hands.module("sampling.armatures").CARD_PROPERTY
    rig = next(o for o in hands.scene().objects if o.type == "ARMATURE" and o.name.startswith("RIG"))
    return str(rig.get(from_name, ""))


hands.drive(steps())
