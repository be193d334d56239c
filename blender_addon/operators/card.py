# SPDX-License-Identifier: GPL-3.0-or-later
"""What is kept on a character's armature: the body map that was found, and the height that the figure stands for."""

from dataclasses import replace
from typing import Any

import bpy

from .. import session
from ..cards import card_on, character_named, keep_card, refusal
from .refusing import Refusing

#: Meters of an adult, to which a figure of unknown size is likely to be built.
ADULT = 1.7
#: Units in which figures come: centimeters, millimeters, inches, feet, and tenfold mistakes.
_FACTORS = (0.01, 0.001, 0.0254, 0.3048, 0.1, 10.0, 100.0)


def likely_height(height: float) -> float:
    """Meters that a figure of this measured height is likely to stand for."""
    of_people = [height * factor for factor in _FACTORS if 0.9 <= height * factor <= 2.3]
    nearest: float = sorted(of_people or [ADULT], key=lambda h: abs(h - ADULT))[0]
    return float(f"{nearest:.2f}")


class _OnCharacter(Refusing):
    """What the operators on one character's card share."""

    bl_options: Any = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    character: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Character", description="Its name; empty for the only one", options={"SKIP_SAVE"}
    )


class PLUMBLINE_OT_store_card(_OnCharacter, bpy.types.Operator):
    """Keep the body map that was found on the character's armature, so that later checks use it and you can mend it"""

    bl_idname = "plumbline.store_card"
    bl_label = "Store Body Map"

    def execute(self, context: Any) -> Any:
        card, character = card_on(self, context, self.character), character_named(context, self.character)
        if card is None or character is None:
            return {"CANCELLED"}
        parts = dict(zip(character.parts, character.bones, strict=True))
        return keep_card(self, context, self.character, replace(card, parts=parts))


class PLUMBLINE_OT_set_height(_OnCharacter, bpy.types.Operator):
    """Say how tall the figure stands for, so that centimeters and seconds can be judged"""

    bl_idname = "plumbline.set_height"
    bl_label = "Set Height"

    height: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Meters",
        description="Meters that the figure stands for",
        default=ADULT,
        min=0.01,
        soft_max=10.0,
        precision=2,
    )
    ask: bpy.props.BoolProperty(options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]

    def invoke(self, context: Any, event: Any) -> Any:
        return context.window_manager.invoke_props_dialog(self, width=280) if self.ask else self.execute(context)

    def execute(self, context: Any) -> Any:
        card, character = card_on(self, context, self.character), character_named(context, self.character)
        if card is None or character is None:
            return {"CANCELLED"}
        done = keep_card(self, context, self.character, replace(card, height=self.height))
        checked = session.of(context.scene)
        if done == {"FINISHED"} and checked is not None:
            session.with_height(checked, character.name, self.height)
        return done


class PLUMBLINE_OT_set_preset(_OnCharacter, bpy.types.Operator):
    """Say how far the figure's style goes from life: limits of weight move, what is measured stays"""

    bl_idname = "plumbline.set_preset"
    bl_label = "Set Style"

    preset: bpy.props.EnumProperty(  # type: ignore[valid-type]
        name="Style",
        description="How far the figure may go from life before a check of its weight speaks",
        items=(
            ("NONE", "As in Life", "Limits as people move"),
            ("grounded", "Grounded", "Poses and hits are pushed, gravity is that of life"),
            ("bouncy", "Bouncy", "Gravity is played with: bodies hang, snap down and roll over their edges"),
        ),
    )

    def execute(self, context: Any) -> Any:
        card = card_on(self, context, self.character)
        if card is None:
            return {"CANCELLED"}
        preset = "" if self.preset == "NONE" else self.preset
        return keep_card(self, context, self.character, replace(card, preset=preset))
