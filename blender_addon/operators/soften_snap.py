# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a knee or elbow that snaps straight, carried out on its keys: the limb's end comes nearer, or the hips
come down, frame by frame."""

from typing import Any

import bpy

from ...core.body import PARTS
from ...core.note import Note
from ...core.remedy import Move
from ..translation import rpt_
from . import mending_keys
from .step_notes import active_note


def refusal(context: Any) -> str:
    """Why the active note's limb cannot be softened, or ''."""
    wanted = rpt_("Choose a note on a knee or elbow that snaps straight")
    note, _ = active_note(context)
    if note is not None and not snaps(note):
        return wanted
    return mending_keys.refusal(context, Move, wanted)


def snaps(note: Note) -> bool:
    """Whether the note is on a limb that snaps, and its move tells each frame and eases none beside them. Moves of the
    hips that other checks give, over a second and more, are no snap and ask for other keys than the note names."""
    move = note.remedy
    if note.check != "pop" or not isinstance(move, Move):
        return False
    return bool(move.offsets) and move.ease <= 1 and move.target in PARTS


class PLUMBLINE_OT_soften_snap(mending_keys.MendsKeys, bpy.types.Operator):
    """Take the snap out of the knee or elbow, with keys on the controls that the note names, then check again"""

    bl_idname = "plumbline.soften_snap"
    bl_label = "Soften Snap"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)
    remedy = Move
