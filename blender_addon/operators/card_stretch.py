# SPDX-License-Identifier: GPL-3.0-or-later
"""By how much a character's limbs may stretch before a note is made."""

from dataclasses import replace
from typing import Any

import bpy

from ...core.body import LIMBS, mirror, spoken
from ..cards import card_on, keep_card, refusal
from ..translation import iface_
from .refusing import Refusing


class PLUMBLINE_OT_set_stretch(Refusing, bpy.types.Operator):
    """Set by how much of its length this limb may stretch before a note is made; none is the default"""

    bl_idname = "plumbline.set_stretch"
    bl_label = "Set Stretch Allowed"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    character: bpy.props.StringProperty(name="Character", options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]
    limb: bpy.props.EnumProperty(  # type: ignore[valid-type]
        name="Limb", items=[(limb, limb, "") for limb in LIMBS], options={"SKIP_SAVE", "HIDDEN"}
    )
    percent: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Percent", description="Percent of the limb's length", min=0.0, soft_max=50.0, precision=1
    )
    mirrored: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Both Sides", description="The same for the limb on the other side of the body", default=True
    )

    def invoke(self, context: Any, event: Any) -> Any:
        card = card_on(self, context, self.character)
        if card is None:
            return {"CANCELLED"}
        self.percent = 100.0 * card.stretch.get(self.limb, 0.0)
        title = iface_("Stretch allowed to the {:s}").format(spoken(self.limb))
        return context.window_manager.invoke_props_dialog(self, width=280, title=title, translate=False)

    def execute(self, context: Any) -> Any:
        card = card_on(self, context, self.character)
        if card is None:
            return {"CANCELLED"}
        limbs = {self.limb, mirror(self.limb)} if self.mirrored else {self.limb}
        kept = {limb: share for limb, share in card.stretch.items() if limb not in limbs}
        if self.percent > 0:
            kept.update({limb: float(f"{self.percent / 100:.4g}") for limb in sorted(limbs)})
        return keep_card(self, context, self.character, replace(card, stretch=kept))
