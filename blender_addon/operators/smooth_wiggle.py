# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a trembling part, carried out on its keys: its path runs through the middle."""

from typing import Any

import bpy

from ...core.note import Note
from ...core.remedy import Smooth
from ..translation import rpt_
from . import mending_keys
from .step_notes import active_note


def trembles(note: Note) -> bool:
    """Whether the note is on a wiggle: paths that break in one frame have remedies of the same form."""
    return note.check == "jitter"


def refusal(context: Any) -> str:
    """Why the active note's wiggle cannot be smoothed, or ''."""
    wanted = rpt_("Choose a note on a part that trembles")
    note, _ = active_note(context)
    if note is not None and not trembles(note):
        return wanted
    return mending_keys.refusal(context, Smooth, wanted)


class PLUMBLINE_OT_smooth_wiggle(mending_keys.MendsKeys, bpy.types.Operator):
    """Smooth the wiggle of the part's path, with keys on the controls that the note names, then check again"""

    bl_idname = "plumbline.smooth_wiggle"
    bl_label = "Smooth Wiggle"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Smooth
