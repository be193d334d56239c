# SPDX-License-Identifier: GPL-3.0-or-later
"""The notes file of the last check, as the command line writes it."""

from pathlib import Path
from typing import Any

import bpy

from ...core.report.json_notes import dump, notes_data
from ...core.report.notes_file import CannotWrite, claim, finish, write
from .. import session
from ..translation import rpt_
from .refusing import Refusing


class PLUMBLINE_OT_save_notes(Refusing, bpy.types.Operator):
    """Save the notes of the last check as a JSON file"""

    bl_idname = "plumbline.save_notes"
    bl_label = "Save Notes..."
    bl_options = {"REGISTER"}

    filepath: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="File", description="Where the notes are written, as JSON", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})  # type: ignore[valid-type]
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]

    @staticmethod
    def refusal(context: Any) -> str:
        checked = session.of(context.scene) if context.scene else None
        return rpt_("The shot was not checked yet") if checked is None or checked.result is None else ""

    def invoke(self, context: Any, event: Any) -> Any:
        if not self.filepath:
            shot = Path(bpy.data.filepath)
            self.filepath = str(shot.with_suffix(".notes.json")) if bpy.data.filepath else "shot.notes.json"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Any:
        checked = session.of(context.scene)
        if checked is None or checked.shot is None or checked.result is None:
            return {"CANCELLED"}
        path = Path(bpy.path.abspath(self.filepath))
        try:
            text = dump(notes_data(checked.shot, checked.result, complete=True, belts=checked.belts,
                                   contacts=checked.contacts))
            part = claim(path)
            write(part, text)
            finish(part, path)
        except (CannotWrite, ValueError) as error:
            self.report({"WARNING"}, str(error))
            return {"CANCELLED"}
        return {"FINISHED"}
