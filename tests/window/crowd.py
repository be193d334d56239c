# SPDX-License-Identifier: GPL-3.0-or-later
"""Ten characters in one shot, and one that is linked and overridden: list, filters, marks, pins and card of each."""

import importlib.util
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

_spec: Any = importlib.util.spec_from_file_location("hands", Path(__file__).with_name("hands.py"))
hands: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)


def rows() -> list[Any]:
    """The rows that the list shows."""
    here = hands.module("settings").state()
    passing = hands.module("filters").now(bpy.context)
    return [row for row in here.rows if passing.passes(hands.checked().notes[row.number])]


def bars() -> tuple[Any, Any]:
    with hands.inside("DOPESHEET_EDITOR"):
        found = hands.module("drawing.strips").picture(bpy.context)
    assert found is not None
    return found


def select(rig: Any) -> None:
    with hands.inside():
        if bpy.context.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        bpy.ops.object.select_all(action="DESELECT")
        rig.select_set(True)
        bpy.context.view_layer.objects.active = rig


def ten_in_a_shot() -> Iterator[float]:
    yield from hands.open_shot(hands.OUT / "crowd.blend")
    yield from hands.check()
    yield from hands.settled()
    here, notes = hands.module("settings").state(), hands.checked().notes
    names = [c.name for c in hands.checked().shot.characters]
    assert len(names) == 10 and {n.character for n in notes} == set(names), names
    assert len(rows()) == len(notes) and all(row.who == notes[row.number].character for row in rows())
    hands.picture("look-crowd", hands.around("VIEW_3D"))
    with hands.inside("DOPESHEET_EDITOR"):
        bpy.ops.action.view_all()  # the last of them ends after what the timeline shows at first
    yield 0.8
    table, marked = bars()
    high = [k for k, n in enumerate(table.notes) if n.severity.value == "high" or k == table.selected]
    own = high if len(notes) > hands.module("drawing.bars").CROWD else list(range(len(notes)))
    assert len(table.notes) == len(notes) and sorted(marked.who) == own, f"{len(marked.who)} marks of {len(own)}"
    hands.say(f"{len(notes)} notes of {len(names)} characters: a row each, a mark of their own {len(own)}")

    # one by name, one by selection, one check by selection
    here.show_character = "Keeper 7"
    yield 0.6
    assert {notes[row.number].character for row in rows()} == {"Keeper 7"}
    table, marked = bars()
    assert {n.character for n in table.notes} == {"Keeper 7"}, "the marks follow the character that is chosen"
    assert sorted(marked.who) == list(range(len(table.notes))), "not every note of one character has its mark"
    here.show_character = ""
    select(bpy.data.objects["Keeper 3"])
    here.selected_only = True
    yield 0.8
    assert {notes[row.number].character for row in rows()} == {"Keeper 3"} == {n.character for n in bars()[0].notes}
    here.selected_only = False
    here.check_selected = True
    yield from hands.check()
    yield 0.5
    assert {c.name for c in hands.checked().shot.characters} == {"Keeper 3"}
    here.check_selected = False
    yield from hands.settled()
    yield from hands.check()
    yield from hands.settled()
    hands.say("filtered by name and by selection, checked by selection")

    # a click on another's row makes that one active, and the card follows it
    shown = hands.module("cards").shown_character
    for name in ("Keeper 9", "Keeper 2"):
        number = next(i for i, n in enumerate(hands.checked().notes) if n.character == name)
        with hands.inside():
            bpy.ops.plumbline.go_to_note("INVOKE_DEFAULT", True, number=number)
            assert bpy.context.view_layer.objects.active.name == name
            assert shown(bpy.context).name == name, f"the card is that of {shown(bpy.context).name}"
    with hands.inside():
        bpy.ops.plumbline.set_limit(
            "EXEC_DEFAULT", True, character="Keeper 2", angle="wrist_tilt", part="hand.L", degrees=99.0
        )
    assert json.loads(bpy.data.objects["Keeper 2"]["plumbline_card"])["limits"] == {"wrist_tilt": [None, 99.0]}
    assert all("plumbline_card" not in bpy.data.objects[name] for name in names if name != "Keeper 2")
    yield from hands.settled()
    hands.picture("look-crowd-card", hands.around("VIEW_3D"))
    before = len(hands.checked().notes)
    yield from hands.check()
    yield 0.5
    kinds = [n.check for n in hands.checked().notes if n.character == "Keeper 2"]
    assert "joint-limit" not in kinds and len(hands.checked().notes) == before - 1, kinds
    hands.say("the card of one of ten is his alone: his wrist may tilt further, and only his note is gone")


def overridden() -> Iterator[float]:
    yield from hands.open_shot(hands.OUT / "override.blend")
    rig = hands.rig()
    assert rig.override_library is not None and rig.animation_data.action.library is None
    yield from hands.check()
    yield from hands.settled()
    notes = hands.checked().notes
    assert [c.name for c in hands.checked().shot.characters] == [rig.name]
    assert {n.check for n in notes} >= {"slip", "joint-limit", "linear-span", "overextension"}, [n.text for n in notes]
    table, picture = bars()
    assert sorted(picture.who) == list(range(len(notes)))
    hands.go_to("joint-limit")
    yield 0.5
    with hands.inside():
        assert bpy.ops.plumbline.select_keys("EXEC_DEFAULT", True) == {"FINISHED"}
        assert bpy.ops.plumbline.set_limit(
            "EXEC_DEFAULT", True, character=rig.name, angle="wrist_tilt", part="hand.L", degrees=99.0
        ) == {"FINISHED"}
    yield from hands.settled()
    hands.picture("look-override", hands.around("VIEW_3D"))
    yield from hands.check()
    yield 0.5
    assert "joint-limit" not in {n.check for n in hands.checked().notes}, "the override's card does not hold"
    hands.go_to("slip")
    yield 0.3
    last = hands.checked()
    with hands.inside():
        assert bpy.ops.plumbline.pin_part("EXEC_DEFAULT", True) == {"FINISHED"}
    while hands.module("session").job is not None or hands.checked() is last:
        yield 0.1
    assert "slip" not in {n.check for n in hands.checked().notes}, "the foot of an override is not pinned"
    kept = hands.OUT / "override-kept.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(kept), copy=True)
    yield from hands.open_shot(kept)
    kept_card = hands.module("sampling.kept_cards").text_of(hands.scene(), hands.rig())
    assert kept_card and "wrist_tilt" in kept_card, "the card of an override is not kept with the shot"
    yield from hands.check()
    yield 0.5
    left = {n.check for n in hands.checked().notes}
    assert not left & {"joint-limit", "slip"}, left
    hands.say(
        f"an override: {len(notes)} notes with marks, keys selected, a limit on its card, a foot pinned; saved, kept"
    )

    # what is linked and not overridden says so, and is left as it is
    yield from hands.open_shot(hands.OUT / "linked.blend")
    yield from hands.check()
    yield from hands.settled()
    assert hands.checked().notes, hands.checked().why
    hands.go_to("joint-limit")
    name = hands.checked().shot.characters[0].name
    with hands.inside():
        assert bpy.ops.plumbline.set_limit(
            "EXEC_DEFAULT", True, character=name, angle="wrist_tilt", part="hand.L", degrees=99.0
        ) == {"CANCELLED"}
    hands.say("a character that is linked alone is measured; its card asks for an override first")


def steps() -> Iterator[float]:
    hands.install()
    yield from ten_in_a_shot()
    yield from overridden()


hands.drive(steps())
