# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a knee or elbow that snaps straight, carried out on its keys: the limb's end comes nearer, or the hips
come down, frame by frame."""

from typing import Any

import bpy

from ...core.remedy import Soften
from ..translation import rpt_
from . import mending_keys


def refusal(context: Any) -> str:
    """Why the active note's limb cannot be softened, or ''."""
    return mending_keys.refusal(context, Soften, rpt_("Choose a note on a knee or elbow that snaps straight"))


class PLUMBLINE_OT_soften_snap(mending_keys.MendsKeys, bpy.types.Operator):
    """Take the snap out of the knee or elbow, with keys on the controls that the note names, then check again"""

    bl_idname = "plumbline.soften_snap"
    bl_label = "Soften Snap"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Soften
