# SPDX-License-Identifier: GPL-3.0-or-later
"""The rigger's panel: what Plumbline knows of a character, why, and what a person says instead."""

from typing import Any

import bpy

from ...core.body import LIMBS, PARTS, base, side, spoken
from ...core.body_map.result import AGREED
from ...core.card import Card
from ...core.shot import Character
from ...core.tables.joint_ranges import RANGES
from .. import limit_arcs, session, settings
from ..cards import shown_card, shown_character
from ..operators.card_limits import limit_of
from ..sampling.weights import told_mass
from ..translation import iface_
from .sidebar import _Sidebar
from .wrapped import sentence


class PLUMBLINE_PT_card(_Sidebar, bpy.types.Panel):
    bl_label = "Character"
    bl_parent_id = "PLUMBLINE_PT_sidebar"
    bl_order = 2
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return session.job is None

    def draw(self, context: Any) -> None:
        layout, character = self.layout, shown_character(context)
        checked = session.of(context.scene)
        if character is None or checked is None or checked.shot is None:
            sentence(layout, context, iface_("Check the shot first, so that characters are known"), inset=48)
            return
        layout.label(text=character.name, icon="ARMATURE_DATA", translate=False)
        if len(checked.shot.characters) > 1:
            here = settings.state(context)
            icon = "PINNED" if here.card_of else "UNPINNED"
            layout.prop(here, "card_of", text="", icon=icon, placeholder="Follows the active one")
        facts = layout.column(align=True)
        facts.label(
            text=iface_("{:d} parts, leg {:.2f} m").format(len(character.parts), character.leg_length),
            translate=False,
        )
        card, where = shown_card(context, character)
        sentence(facts, context, where, inset=40)
        row = layout.row(align=True)
        row.label(text="Real Height")
        height = row.operator(
            "plumbline.set_height",
            text=iface_("{:.2f} m").format(card.height)
            if card.height
            else iface_("{:.2f} m, as Built").format(character.height),
            translate=False,
        )
        height.character, height.height, height.ask = character.name, card.height or character.height, True
        row = layout.row(align=True)
        row.label(text="Style")
        style = card.preset.capitalize() if card.preset else "As in Life"
        chosen = row.operator_menu_enum("plumbline.set_preset", "preset", text=iface_(style), translate=False)
        chosen.character = character.name
        files = layout.row(align=True)
        files.operator("plumbline.load_card", text="Load...", icon="IMPORT").character = character.name
        files.operator("plumbline.save_card", text="Save...", icon="EXPORT").character = character.name


class _OnCard(_Sidebar):
    bl_parent_id = "PLUMBLINE_PT_card"
    bl_options: Any = {"DEFAULT_CLOSED"}

    poll = classmethod(lambda cls, context: shown_character(context) is not None)


class PLUMBLINE_PT_body_map(_OnCard, bpy.types.Panel):
    bl_label = "Body Map"

    def draw(self, context: Any) -> None:
        character = shown_character(context)
        assert character is not None
        card, _ = shown_card(context, character)
        column = self.layout.column(align=True)
        known = dict(zip(character.parts, zip(character.bones, character.reasons, strict=False), strict=False))
        for part in _parts(character, card):
            bone, reason = known.get(part, ("", ""))
            row = column.row(align=True)
            names = row.split(factor=0.4, align=True)
            names.label(text=_short(part))
            choose = names.operator(
                "plumbline.choose_bone", text=bone or iface_("None"), icon="BONE_DATA", translate=False
            )
            take = row.operator("plumbline.take_active_bone", text="", icon="EYEDROPPER")
            if part in card.parts:
                back = row.operator("plumbline.find_bone", text="", icon="LOOP_BACK")
            else:
                back = row.operator("plumbline.leave_out_part", text="", icon="X")
            for button in (choose, take, back):
                button.character, button.part = character.name, part
            if reason and reason != AGREED:  # the ordinary case would only double the list
                column.label(text=reason, icon="BLANK1", translate=False)
        self.layout.operator("plumbline.store_card").character = character.name


class PLUMBLINE_PT_joint_limits(_OnCard, bpy.types.Panel):
    bl_label = "Joint Limits"

    def draw(self, context: Any) -> None:
        character, here = shown_character(context), settings.state(context)
        assert character is not None
        card, _ = shown_card(context, character)
        top = self.layout.row(align=True)
        top.prop(here, "limit_part", text="")
        top.prop(here, "show_arcs", text="", icon="SPHERECURVE")
        part = here.limit_part
        column = self.layout.column(align=True)
        for found in (r for r in RANGES if r.part == base(part)):
            own = limit_of(card, found, part)
            most = own if own is not None else found.most
            row = column.row(align=True)
            name = row.split(factor=0.56, align=True)
            now = limit_arcs.degrees(context.scene, part, found.name)
            turned = "" if now is None else f"  {now:.0f}\N{DEGREE SIGN}"
            name.label(text=iface_(found.kind.capitalize()) + turned, translate=False)
            value = name.operator(
                "plumbline.set_limit", text=f"{most:g}\N{DEGREE SIGN}" if most is not None else "-", translate=False
            )
            taken = row.operator("plumbline.limit_from_pose", text="", icon="EYEDROPPER")
            clear = row.row(align=True)
            clear.enabled = own is not None
            cleared = clear.operator("plumbline.clear_limit", text="", icon="LOOP_BACK")
            for button in (value, taken, cleared):
                button.character, button.angle, button.part = character.name, found.name, part
        sentence(self.layout, context, iface_("What the card leaves open is as in a published table"), inset=48)


class PLUMBLINE_PT_stretch(_OnCard, bpy.types.Panel):
    bl_label = "Stretch Allowed"

    def draw(self, context: Any) -> None:
        character = shown_character(context)
        assert character is not None
        card, _ = shown_card(context, character)
        column = self.layout.column(align=True)
        for limb in LIMBS:
            row = column.split(factor=0.56, align=True)
            row.label(text=spoken(limb).capitalize())
            button = row.operator(
                "plumbline.set_stretch",
                text=iface_("{:g} %").format(100 * card.stretch.get(limb, 0.0)),
                translate=False,
            )
            button.character, button.limb = character.name, limb


class PLUMBLINE_PT_weights(_OnCard, bpy.types.Panel):
    bl_label = "Weight of Props"

    def draw(self, context: Any) -> None:
        scene, checked = context.scene, session.of(context.scene)
        assert checked is not None and checked.shot is not None
        active = context.active_object
        names = [prop.name for prop in checked.shot.props if prop.name in scene.objects]
        if active is not None and active.type == "MESH" and active.name not in names and told_mass(active):
            names.append(active.name)
        column = self.layout.column(align=True)
        for name in names:
            row = column.split(factor=0.56, align=True)
            row.label(text=name, translate=False)
            mass = told_mass(scene.objects[name])
            text = iface_("{:g} kg").format(mass) if mass else iface_("Not Told")
            row.operator("plumbline.set_weight", text=text, translate=False).thing = name
        if not names:
            sentence(column, context, iface_("No props were found; mark one, or say what the active object weighs"),
                     inset=48)
        if active is not None and active.name not in names:
            self.layout.operator("plumbline.set_weight", text="Weigh Active Object...")


def _short(part: str) -> str:
    """'Upper arm L': what has room beside a bone's name."""
    return f"{base(part).replace('_', ' ').capitalize()} {side(part)}".rstrip()


def _parts(character: Character, card: Card) -> list[str]:
    """The parts to list: those found, those that the card speaks of, and those that are missing."""
    return [part for part in PARTS if part in character.parts or part in card.parts or not part.startswith("toe")]
