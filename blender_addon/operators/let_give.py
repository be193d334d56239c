# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a landing or take-off with no give, carried out on keys: the hips sink while the feet stay."""

from typing import Any

import bpy

from ...core.remedy import Give
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's body cannot give, or ''."""
    why = mending_keys.refusal(context, Give, rpt_("Choose a note on a landing or take-off with no give"))
    return why or mending_keys.feet_taken_along(context)


class PLUMBLINE_OT_let_give(mending_keys.MendsKeys, bpy.types.Operator):
    """Let the hips sink under the landing or before the take-off, with keys on the note's controls, then check again"""

    bl_idname = "plumbline.let_give"
    bl_label = "Let Give"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Give
