# SPDX-License-Identifier: GPL-3.0-or-later
"""Markers at the worst frames of the notes that are shown, on demand."""

from typing import Any

import bpy

from .. import filters, markers, session
from ..translation import rpt_
from .refusing import Refusing
from .step_notes import refusal


class PLUMBLINE_OT_add_markers(Refusing, bpy.types.Operator):
    """Put a timeline marker at the worst frame of each note that the list shows. Your own markers stay as they are"""

    bl_idname = "plumbline.add_markers"
    bl_label = "Add Markers"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    def execute(self, context: Any) -> Any:
        shown = filters.now(context)
        checked = session.of(context.scene)
        assert checked is not None
        count = markers.add(context.scene, [note for note in checked.notes if shown.passes(note)])
        said = rpt_("1 marker") if count == 1 else rpt_("{:d} markers").format(count)
        self.report({"INFO"}, said)
        return {"FINISHED"}


class PLUMBLINE_OT_remove_markers(Refusing, bpy.types.Operator):
    """Remove the markers of notes from the timeline. Your own markers stay as they are"""

    bl_idname = "plumbline.remove_markers"
    bl_label = "Remove Markers"
    bl_options = {"REGISTER", "UNDO"}

    @staticmethod
    def refusal(context: Any) -> str:
        return "" if context.scene and markers.ours(context.scene) else rpt_("The timeline has no markers of notes")

    def execute(self, context: Any) -> Any:
        count = markers.remove(context.scene)
        said = rpt_("1 marker removed") if count == 1 else rpt_("{:d} markers removed").format(count)
        self.report({"INFO"}, said)
        return {"FINISHED"}
