# SPDX-License-Identifier: GPL-3.0-or-later
"""After a remedy was carried out: the shot is checked again, and what became of the note is said."""

from typing import Any

import bpy

from ..core.note import Note
from ..core.takes import same
from . import session, words
from .operators.step_notes import active_note
from .translation import rpt_


def refusal(context: Any, remedy: type, wanted: str) -> str:
    """Why the remedy of the active note cannot be carried out, or ''. wanted: what such notes have, for people."""
    note, why = active_note(context)
    if note is None:
        return why
    if not isinstance(note.remedy, remedy):
        return wanted
    return rpt_("Edited since the last check: check again first") if session.stale(context.scene, note) else ""


def check_again(context: Any, note: Note) -> None:
    """Starts the check anew; when it ends, what is left of this note is said."""
    session.followed = note
    operators: Any = bpy.ops
    operators.plumbline.check_shot("EXEC_DEFAULT" if bpy.app.background else "INVOKE_DEFAULT")


def outcome(notes: tuple[Note, ...]) -> str:
    """What became of the followed note among the notes of a new check, or '' where none is followed."""
    note, session.followed = session.followed, None
    if note is None:
        return ""
    left = [other for other in notes if same(note, other) and other.set_aside is None]
    if not left:
        return rpt_("{:s}: gone").format(words.title(note))
    worst = max(left, key=lambda n: n.severity.rank)
    return rpt_("{:s}: {:s} left, it was {:s}").format(words.title(note), words.amount(worst), words.amount(note))
