# SPDX-License-Identifier: GPL-3.0-or-later
"""What is kept on a character's armature: the body map that was found, and the height that the figure stands for."""

from dataclasses import replace
from typing import Any

import bpy

from ...core.card import Card, CardError
from ...core.shot import Character
from .. import session
from ..sampling.armatures import CARD_PROPERTY
from .marking import needs_override
from .refusing import Refusing

rpt_: Any = bpy.app.translations.pgettext_rpt  # the stubs say that it returns nothing

#: Metres of an adult, to which a figure of unknown size is likely to be built.
ADULT = 1.7
#: Units in which figures come: centimeters, millimeters, inches, feet, and tenfold mistakes.
_FACTORS = (0.01, 0.001, 0.0254, 0.3048, 0.1, 10.0, 100.0)


def refusal(context: Any) -> str:
    """Why there is no character to keep something on, or ''."""
    if session.job is not None:
        return "A check is running; Esc stops it"
    checked = session.of(context.scene) if context.scene else None
    return (
        "" if checked is not None and checked.shot is not None else "Check the shot first, so that characters are known"
    )


def likely_height(height: float) -> float:
    """Metres that a figure of this measured height is likely to stand for."""
    of_people = [height * factor for factor in _FACTORS if 0.9 <= height * factor <= 2.3]
    nearest: float = sorted(of_people or [ADULT], key=lambda h: abs(h - ADULT))[0]
    return float(f"{nearest:.2f}")


class PLUMBLINE_OT_store_card(Refusing, bpy.types.Operator):
    """Keep the body map that was found on the character's armature, so that later checks use it and you can mend it"""

    bl_idname = "plumbline.store_card"
    bl_label = "Store Body Map"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    character: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Character", description="Its name; empty for the only one", options={"SKIP_SAVE"}
    )

    def execute(self, context: Any) -> Any:
        character = _character(context, self.character)
        if character is None:
            self.report({"WARNING"}, "There is no such character; check the shot again")
            return {"CANCELLED"}
        parts = dict(zip(character.parts, character.bones, strict=True))
        return _keep(self, context, character, parts=parts)


class PLUMBLINE_OT_set_height(Refusing, bpy.types.Operator):
    """Say how tall the figure stands for, so that centimeters and seconds can be judged"""

    bl_idname = "plumbline.set_height"
    bl_label = "Set Height"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    character: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Character", description="Its name; empty for the only one", options={"SKIP_SAVE"}
    )
    height: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Height",
        description="Meters that the figure stands for",
        default=ADULT,
        min=0.01,
        soft_max=10.0,
        precision=2,
    )

    def execute(self, context: Any) -> Any:
        character = _character(context, self.character)
        if character is None:
            self.report({"WARNING"}, "There is no such character; check the shot again")
            return {"CANCELLED"}
        done = _keep(self, context, character, height=self.height)
        if done == {"FINISHED"}:
            checked = session.of(context.scene)
            assert checked is not None
            session.with_height(checked, character.name, self.height)
        return done


def _character(context: Any, name: str) -> Character | None:
    checked = session.of(context.scene)
    characters = checked.shot.characters if checked is not None and checked.shot is not None else ()
    if not name:
        return characters[0] if len(characters) == 1 else None
    return next((c for c in characters if c.name == name), None)


def _keep(operator: Any, context: Any, character: Character, **changes: Any) -> Any:
    """The card on the character's armature, with these fields changed."""
    checked = session.of(context.scene)
    assert checked is not None
    uid = checked.uids.get(character.name)
    rig = next((o for o in bpy.data.objects if o.session_uid == uid), None)
    if rig is None or needs_override(rig):
        operator.report(
            {"WARNING"}, rpt_("{:s} is linked or gone: make a library override of it first").format(character.name)
        )
        return {"CANCELLED"}
    try:
        card = Card.read(rig[CARD_PROPERTY]) if isinstance(rig.get(CARD_PROPERTY), str) else character.card
    except CardError as error:
        operator.report({"WARNING"}, rpt_("The card on {:s} is left as it is: {:s}").format(rig.name, str(error)))
        return {"CANCELLED"}
    rig[CARD_PROPERTY] = replace(card, **changes).write()
    session.mark_edited(context.scene.session_uid, rig.name)
    return {"FINISHED"}
