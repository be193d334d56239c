# SPDX-License-Identifier: GPL-3.0-or-later
"""A click on a mark of an editor of time: goes to the note of the mark under the mouse."""

from typing import Any

import bpy

from .. import session, words
from ..drawing import strips
from ..translation import tip_
from .refusing import Refusing
from .step_notes import go_to, refusal


class PLUMBLINE_OT_pick_mark(Refusing, bpy.types.Operator):
    """Go to the worst frame of the note under the mouse, with its character and part active"""

    bl_idname = "plumbline.pick_mark"
    bl_label = "Go to Note"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    refusal = staticmethod(refusal)

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        note = strips.hovered_note()
        if note is None:
            return tip_(str(cls.__doc__))
        return words.tip(note, session.several(context.scene))

    def execute(self, context: Any) -> Any:
        note = strips.hovered_note()
        checked = session.of(context.scene)
        number = next((i for i, n in enumerate(checked.notes if checked else ()) if n is note), -1)
        if note is None or number < 0:
            return {"CANCELLED"}
        return go_to(self, context, number, note)
