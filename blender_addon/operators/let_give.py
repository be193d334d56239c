# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a landing or take-off with no give, carried out on keys: the hips sink while the feet stay."""

from typing import Any

import bpy

from ...core.body import SIDES
from ...core.remedy import Give
from ..cards import character_named
from ..translation import rpt_
from . import mending_keys
from .step_notes import active_note


def refusal(context: Any) -> str:
    """Why the active note's body cannot give, or ''."""
    why = mending_keys.refusal(context, Give, rpt_("Choose a note on a landing or take-off with no give"))
    note, _ = active_note(context)
    character = character_named(context, note.character) if note is not None else None
    if why or character is None:
        return why
    followed = {goal.part for goal in character.goals}
    if not all(f"foot.{side}" in followed for side in SIDES if character.has(f"foot.{side}")):
        return rpt_("Its legs follow no goals: the feet would sink with the hips")
    return ""


class PLUMBLINE_OT_let_give(mending_keys.MendsKeys, bpy.types.Operator):
    """Let the hips sink under the landing or before the take-off, with keys on the note's controls, then check again"""

    bl_idname = "plumbline.let_give"
    bl_label = "Let Give"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Give
