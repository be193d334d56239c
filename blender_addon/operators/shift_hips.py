# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a body off its balance, or one that nothing drives, carried out on keys: the hips come back onto the
mended path while the feet stay."""

from typing import Any

import bpy

from ...core.note import Note
from ...core.remedy import Move
from ..translation import rpt_
from . import mending_keys
from .step_notes import active_note

#: The checks whose move tells the hips' mended path frame by frame.
_OF_BALANCE = ("off-balance", "undriven-move")


def refusal(context: Any) -> str:
    """Why the active note's hips cannot be shifted, or ''."""
    wanted = rpt_("Choose a note on a body off its balance, or one that nothing drives")
    note, _ = active_note(context)
    if note is not None and not shifts(note):
        return wanted
    return mending_keys.refusal(context, Move, wanted) or mending_keys.feet_taken_along(context)


def shifts(note: Note) -> bool:
    """Whether the note is on balance, and its move tells the hips' way on each frame."""
    move = note.remedy
    if note.check not in _OF_BALANCE or not isinstance(move, Move):
        return False
    return bool(move.offsets) and move.ease <= 1 and move.target == "pelvis"


class PLUMBLINE_OT_shift_hips(mending_keys.MendsKeys, bpy.types.Operator):
    """Shift the hips onto the mended path, with keys on the controls that the note names, then check again"""

    bl_idname = "plumbline.shift_hips"
    bl_label = "Shift Hips"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Move
