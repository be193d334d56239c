# SPDX-License-Identifier: GPL-3.0-or-later
"""How far a character's joints go: typed, taken from the pose as it stands, or given back to the published table."""

from dataclasses import replace
from math import isfinite
from typing import Any

import bpy

from ...core.body import SIDES, base, mirror, side, spoken
from ...core.card import Card
from ...core.measures.angles import angles
from ...core.study import Study
from ...core.tables.joint_ranges import BY_NAME, Range
from ..cards import card_on, keep_card, refusal
from ..sampling.armatures import CannotMeasure
from ..sampling.pose import posed_now
from ..translation import iface_, rpt_
from .refusing import Refusing


class _Limit(Refusing):
    """What the operators on one end of a joint's range share."""

    bl_options: Any = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    character: bpy.props.StringProperty(name="Character", options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]
    angle: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Angle", description="The joint's angle, as cards name it", options={"SKIP_SAVE", "HIDDEN"}
    )
    part: bpy.props.StringProperty(name="Part", options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]
    mirrored: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Both Sides", description="The same limit on the other side of the body", default=True
    )

    def _range(self) -> Range | None:
        return BY_NAME.get(self.angle)

    def _parts(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((self.part, mirror(self.part)))) if self.mirrored else (self.part,)

    def _keep(self: Any, context: Any, degrees: float | None) -> Any:
        found = self._range()
        if found is None or base(self.part) != found.part:
            self.report({"WARNING"}, rpt_("{:s} has no angle {:s}").format(self.part, self.angle))
            return {"CANCELLED"}
        card = card_on(self, context, self.character)
        if card is None:
            return {"CANCELLED"}
        for part in self._parts():
            card = limited(card, found, part, degrees)
        return keep_card(self, context, self.character, card)


class PLUMBLINE_OT_set_limit(_Limit, bpy.types.Operator):
    """Set how far this joint goes before a note is made"""

    bl_idname = "plumbline.set_limit"
    bl_label = "Set Joint Limit"

    degrees: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Degrees", description="Degrees at which the joint's range ends", soft_min=0.0, soft_max=180.0, precision=1
    )

    def invoke(self, context: Any, event: Any) -> Any:
        found, card = self._range(), card_on(self, context, self.character)
        if found is None or card is None:
            return {"CANCELLED"}
        own = limit_of(card, found, self.part)
        self.degrees = own if own is not None else found.most if found.most is not None else 0.0
        title = iface_("Limit of the {:s}: {:s}").format(spoken(self.part), iface_(found.kind.capitalize()))
        return context.window_manager.invoke_props_dialog(self, width=280, title=title, translate=False)

    def execute(self, context: Any) -> Any:
        return self._keep(context, float(f"{self.degrees:.4g}"))


class PLUMBLINE_OT_limit_from_pose(_Limit, bpy.types.Operator):
    """Take the joint's angle in the pose as it stands for the end of its range"""

    bl_idname = "plumbline.limit_from_pose"
    bl_label = "Take Pose as Limit"

    def execute(self, context: Any) -> Any:
        try:
            shot = posed_now(context.scene, context.evaluated_depsgraph_get(), [self.character])
        except CannotMeasure as error:
            self.report({"WARNING"}, str(error)[:1].upper() + str(error)[1:])
            return {"CANCELLED"}
        character = shot.characters[0]
        found = Study(shot).of(angles, character).get((self.angle, self.part))
        if found is None or not isfinite(found.degrees[0]):
            why = "it has no such angle" if found is None else found.why or "its place is not a number"
            self.report({"WARNING"}, rpt_("The pose of the {:s} cannot be read: {:s}").format(spoken(self.part), why))
            return {"CANCELLED"}
        return self._keep(context, float(f"{found.degrees[0]:.1f}"))


class PLUMBLINE_OT_clear_limit(_Limit, bpy.types.Operator):
    """Go back to the limit of the published table"""

    bl_idname = "plumbline.clear_limit"
    bl_label = "Clear Joint Limit"

    def execute(self, context: Any) -> Any:
        return self._keep(context, None)


def limit_of(card: Card, found: Range, part: str) -> float | None:
    """Degrees at which the card ends this angle on this part, or None where it leaves that to the table."""
    own = card.limits.get(f"{found.name}.{side(part)}", card.limits.get(found.name, (None, None)))
    return own[1]


def limited(card: Card, found: Range, part: str, degrees: float | None) -> Card:
    """The card with this angle's most on this part set, or given back to the table. Where both sides are the same they
    are written once; an angle's least stays as it is."""
    both = {s: card.limits.get(f"{found.name}.{s}", card.limits.get(found.name, (None, None))) for s in SIDES}
    one = side(part)
    if one in both:
        both[one] = (both[one][0], degrees)
        apart = {f"{found.name}.{s}": ends for s, ends in both.items()}
        entries = {found.name: both["L"]} if both["L"] == both["R"] else apart
    else:
        entries = {found.name: (card.limits.get(found.name, (None, None))[0], degrees)}
    kept = {name: ends for name, ends in card.limits.items() if name.partition(".")[0] != found.name}
    said = {name: ends for name, ends in entries.items() if ends != (None, None)}
    return replace(card, limits={**kept, **said})
