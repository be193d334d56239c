# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of parts that move as one block, carried out on their keys: a frame later down the chain."""

from typing import Any

import bpy

from ...core.remedy import Shift
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's block cannot be offset, or ''."""
    return mending_keys.refusal(context, Shift, rpt_("Choose a note on parts that move as one block"))


class PLUMBLINE_OT_offset_block(mending_keys.MendsKeys, bpy.types.Operator):
    """Offset the keys of the block down the chain by the frames that the note tells, then check again"""

    bl_idname = "plumbline.offset_block"
    bl_label = "Offset Block"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Shift
