# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a body off its balance, or one that nothing drives, carried out on keys: the hips come back onto the
mended path while the feet stay."""

from typing import Any

import bpy

from ...core.remedy import Balance
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's hips cannot be shifted, or ''."""
    wanted = rpt_("Choose a note on a body off its balance, or one that nothing drives")
    return mending_keys.refusal(context, Balance, wanted) or mending_keys.feet_taken_along(context)


class PLUMBLINE_OT_shift_hips(mending_keys.MendsKeys, bpy.types.Operator):
    """Shift the hips onto the mended path, with keys on the controls that the note names, then check again"""

    bl_idname = "plumbline.shift_hips"
    bl_label = "Shift Hips"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Balance
