# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a dead stop, carried out on its keys: the parts go on past it and come back."""

from typing import Any

import bpy

from ...core.remedy import Settle
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's parts cannot settle, or ''."""
    return mending_keys.refusal(context, Settle, rpt_("Choose a note on a dead stop"))


class PLUMBLINE_OT_settle_stop(mending_keys.MendsKeys, bpy.types.Operator):
    """Let the parts go on past their stop and settle, with keys on the note's controls, then check again"""

    bl_idname = "plumbline.settle_stop"
    bl_label = "Let Settle"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Settle
