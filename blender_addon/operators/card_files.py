# SPDX-License-Identifier: GPL-3.0-or-later
"""A character's card to a file and from one, by the published schema."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy

from ...core.card import Card, CardError
from .. import preferences
from ..cards import card_on, character_named, keep_card, refusal, studio_file
from ..translation import rpt_
from .refusing import Refusing


class _File(Refusing):
    """What the operators on a card's file share."""

    refusal = staticmethod(refusal)
    filename_ext = ".json"

    filepath: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="File", description="The card's file, as JSON", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})  # type: ignore[valid-type]
    character: bpy.props.StringProperty(name="Character", options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]

    def invoke(self: Any, context: Any, event: Any) -> Any:
        character = character_named(context, self.character)
        if character is None:
            self.report({"WARNING"}, "There is no such character; check the shot again")
            return {"CANCELLED"}
        if not self.filepath:
            self.filepath = str(studio_file(preferences.of(context).card_folder, character.name))
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}


class PLUMBLINE_OT_save_card(_File, bpy.types.Operator):
    """Save the character's card as a file, with the body map as it stands, for other shots and the command line"""

    bl_idname = "plumbline.save_card"
    bl_label = "Save Card"
    bl_options = {"REGISTER"}

    def execute(self, context: Any) -> Any:
        card, character = card_on(self, context, self.character), character_named(context, self.character)
        if card is None or character is None:
            return {"CANCELLED"}
        found = dict(zip(character.parts, character.bones, strict=True))
        path = Path(bpy.path.abspath(self.filepath))
        try:
            text = replace(card, parts={**found, **card.parts}).write()
            path.with_suffix(path.suffix or ".json").write_text(text + "\n", "utf-8")
        except OSError as error:
            self.report({"WARNING"}, rpt_("{:s} cannot be written: {:s}").format(str(path), error.strerror or ""))
            return {"CANCELLED"}
        self.report({"INFO"}, rpt_("Card saved: {:s}").format(path.name))
        return {"FINISHED"}


class PLUMBLINE_OT_load_card(_File, bpy.types.Operator):
    """Load a card from a file onto the character's armature"""

    bl_idname = "plumbline.load_card"
    bl_label = "Load Card"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> Any:
        path = Path(bpy.path.abspath(self.filepath))
        try:
            card = Card.read(path.read_text("utf-8"))
        except (OSError, UnicodeDecodeError) as error:
            why = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
            self.report({"WARNING"}, rpt_("{:s} cannot be read: {:s}").format(str(path), why or ""))
            return {"CANCELLED"}
        except CardError as error:
            self.report({"WARNING"}, rpt_("{:s}: {:s}").format(path.name, str(error)))
            return {"CANCELLED"}
        if card_on(self, context, self.character) is None:
            return {"CANCELLED"}
        return keep_card(self, context, self.character, card)
