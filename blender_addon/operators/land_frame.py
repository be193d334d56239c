# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a path that breaks in one frame, carried out on its keys: the frame goes where the path should land.

At high frame rates the frames beside it go along: a corner is spread over three frames of 24.
"""

from typing import Any

import bpy

from ...core.remedy import Land
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's frame cannot be moved, or ''."""
    return mending_keys.refusal(context, Land, rpt_("Choose a note on one frame that is off its path"))


class PLUMBLINE_OT_land_frame(mending_keys.MendsKeys, bpy.types.Operator):
    """Move the frame that breaks the path to where it should land, on the keys of the note, then check again"""

    bl_idname = "plumbline.land_frame"
    bl_label = "Land Frame"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Land
