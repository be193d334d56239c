# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a part that is held dead, carried out on its keys: a moving hold."""

from typing import Any

import bpy

from ...core.remedy import Drift
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's parts cannot drift, or ''."""
    return mending_keys.refusal(context, Drift, rpt_("Choose a note on a part that is held dead"))


class PLUMBLINE_OT_let_drift(mending_keys.MendsKeys, bpy.types.Operator):
    """Let the dead parts drift by a few degrees and back, with keys on the note's controls, then check again"""

    bl_idname = "plumbline.let_drift"
    bl_label = "Let Drift"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Drift
