# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bone plays which part, said by a person: chosen by name, taken from the active bone, or given back."""

from dataclasses import replace
from typing import Any

import bpy

from ...core.body import PARTS, mirror, spoken
from ..cards import armature_of, card_on, character_named, keep_card, refusal
from ..translation import rpt_
from .refusing import Refusing

_bones: list[tuple[str, str, str]] = []  # Blender keeps no reference to an enum's own words


def _items(self: Any, context: Any) -> list[tuple[str, str, str]]:
    """The bones of the character's armatures, as a card writes them."""
    character = character_named(context, self.character)
    rig = armature_of(context, character) if character is not None else None
    names = [bone.name for bone in rig.data.bones] if rig is not None else []
    others = sorted({b.partition("/")[0] for b in character.bones if "/" in b}) if character is not None else []
    for other in (bpy.data.objects.get(name) for name in others):
        if other is not None and other.type == "ARMATURE":
            names += [f"{other.name}/{bone.name}" for bone in other.data.bones]
    global _bones
    _bones = [(name, name, "") for name in names]
    return _bones


class _OnPart(Refusing):
    """What the operators on one part of the body map share."""

    bl_options: Any = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    character: bpy.props.StringProperty(name="Character", options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]
    part: bpy.props.StringProperty(name="Part", options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]

    def _keep(self: Any, context: Any, changes: dict[str, str | None]) -> Any:
        """Writes these parts; None gives one back to what is found by itself."""
        card = card_on(self, context, self.character)
        if card is None:
            return {"CANCELLED"}
        if self.part not in PARTS:
            self.report({"WARNING"}, rpt_("There is no part {:s}").format(self.part))
            return {"CANCELLED"}
        parts = {part: bone for part, bone in {**card.parts, **changes}.items() if bone is not None}
        return keep_card(self, context, self.character, replace(card, parts=parts))


class PLUMBLINE_OT_choose_bone(_OnPart, bpy.types.Operator):
    """Choose the bone that plays this part"""

    bl_idname = "plumbline.choose_bone"
    bl_label = "Choose Bone"
    bl_property = "bone"

    bone: bpy.props.EnumProperty(  # type: ignore[valid-type]
        name="Bone", description="The bone that moves as this part of the body", items=_items
    )

    def invoke(self, context: Any, event: Any) -> Any:
        context.window_manager.invoke_search_popup(self)
        return {"FINISHED"}

    def execute(self, context: Any) -> Any:
        return self._keep(context, {self.part: self.bone})


class PLUMBLINE_OT_take_active_bone(_OnPart, bpy.types.Operator):
    """Take the active bone for this part, and its mirrored bone for the part on the other side"""

    bl_idname = "plumbline.take_active_bone"
    bl_label = "Take Active Bone"

    def execute(self, context: Any) -> Any:
        bone, character = context.active_pose_bone, character_named(context, self.character)
        rig = armature_of(context, character) if character is not None else None
        if bone is None or character is None or rig is None:
            self.report({"WARNING"}, rpt_("Make the bone of the {:s} active in pose mode").format(_spoken(self.part)))
            return {"CANCELLED"}
        holder = bone.id_data
        prefix = "" if holder == rig else f"{holder.name}/"
        changes: dict[str, str | None] = {self.part: prefix + bone.name}
        other = bpy.utils.flip_name(bone.name)
        if mirror(self.part) != self.part and other != bone.name and other in holder.data.bones:
            changes[mirror(self.part)] = prefix + other
        return self._keep(context, changes)


class PLUMBLINE_OT_leave_out_part(_OnPart, bpy.types.Operator):
    """Say that the character has no such part"""

    bl_idname = "plumbline.leave_out_part"
    bl_label = "Leave Out Part"

    def execute(self, context: Any) -> Any:
        return self._keep(context, {self.part: ""})


class PLUMBLINE_OT_find_bone(_OnPart, bpy.types.Operator):
    """Let Plumbline find the bone of this part by itself again"""

    bl_idname = "plumbline.find_bone"
    bl_label = "Find Bone"

    def execute(self, context: Any) -> Any:
        return self._keep(context, {self.part: None})


def _spoken(part: str) -> str:
    return spoken(part) if part in PARTS else part
