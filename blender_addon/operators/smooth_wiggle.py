# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a trembling part, carried out on its keys: its path runs through the middle."""

from typing import Any

import bpy

from ...core.remedy import Smooth
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's wiggle cannot be smoothed, or ''."""
    return mending_keys.refusal(context, Smooth, rpt_("Choose a note on a part that trembles"))


class PLUMBLINE_OT_smooth_wiggle(mending_keys.MendsKeys, bpy.types.Operator):
    """Smooth the wiggle of the part's path, with keys on the controls that the note names, then check again"""

    bl_idname = "plumbline.smooth_wiggle"
    bl_label = "Smooth Wiggle"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Smooth
