# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a head that is stuck in space, carried out on its keys: it travels with the chest."""

from typing import Any

import bpy

from ...core.remedy import Follow
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's part cannot follow, or ''."""
    return mending_keys.refusal(context, Follow, rpt_("Choose a note on a part that is stuck in space"))


class PLUMBLINE_OT_let_follow(mending_keys.MendsKeys, bpy.types.Operator):
    """Let the part travel with what carries it, in one eased move between its keys at both ends, then check again"""

    bl_idname = "plumbline.let_follow"
    bl_label = "Let Follow"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Follow
