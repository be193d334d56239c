# SPDX-License-Identifier: GPL-3.0-or-later
"""Setting a note aside with a reason, and bringing it back. Kept in the file, so both are steps of undo."""

from typing import Any

import bpy

from ...core.takes import TakesError, set_aside
from .. import kept_aside, redraw, session, settings
from .refusing import Refusing
from .step_notes import refusal


class PLUMBLINE_OT_set_aside(Refusing, bpy.types.Operator):
    """Set the note aside for a reason, kept in the file. It comes back if it gets worse by a quarter of its limit"""

    bl_idname = "plumbline.set_aside"
    bl_label = "Set Aside"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    number: bpy.props.IntProperty(name="Note", default=-1, options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]
    reason: bpy.props.StringProperty(  # type: ignore[valid-type]
        name="Reason", description="Why the note does not matter here", default="As intended"
    )

    def invoke(self, context: Any, event: Any) -> Any:
        return context.window_manager.invoke_props_dialog(self, width=320)

    def execute(self, context: Any) -> Any:
        number = settings.active_number(context) if self.number < 0 else self.number
        note = session.active(context.scene, number)
        if note is None:
            self.report({"WARNING"}, "There is no such note; check the shot again")
            return {"CANCELLED"}
        if context.scene.library is not None:
            self.report({"WARNING"}, "The scene is linked, so nothing can be kept in it")
            return {"CANCELLED"}
        try:
            kept_aside.keep(context.scene, set_aside(note, self.reason), note)
        except TakesError as error:
            self.report({"WARNING"}, str(error)[:1].upper() + str(error)[1:])
            return {"CANCELLED"}
        return _shown(context)


class PLUMBLINE_OT_bring_back(Refusing, bpy.types.Operator):
    """Show the note again that was set aside"""

    bl_idname = "plumbline.bring_back"
    bl_label = "Bring Back"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    number: bpy.props.IntProperty(name="Note", default=-1, options={"SKIP_SAVE", "HIDDEN"})  # type: ignore[valid-type]

    def execute(self, context: Any) -> Any:
        number = settings.active_number(context) if self.number < 0 else self.number
        note = session.active(context.scene, number)
        if note is None or note.set_aside is None:
            self.report({"WARNING"}, "There is no such note; check the shot again")
            return {"CANCELLED"}
        kept_aside.bring_back(context.scene, note)
        return _shown(context)


def _shown(context: Any) -> Any:
    """The rows follow what is kept on the scene now."""
    settings.follow_aside(context.scene)
    redraw.panels()
    return {"FINISHED"}
