# SPDX-License-Identifier: GPL-3.0-or-later
"""What the remedies on named keys share: when they can run, and what follows."""

from typing import Any, ClassVar

from ...core.body import SIDES
from ...core.note import Note
from .. import mending, session
from ..cards import character_named
from ..key_mending import mend_keys
from ..translation import rpt_
from .refusing import Refusing
from .step_notes import active_note


def refusal(context: Any, remedy: type, wanted: str) -> str:
    """Why the remedy of the active note cannot be carried out on its keys, or ''. wanted: what such notes have."""
    why = mending.refusal(context, remedy, wanted)
    note, _ = active_note(context)
    if why or note is None or note.keys:
        return why
    return rpt_("The motion is baked or comes from elsewhere: no key of it can be moved")


def feet_taken_along(context: Any) -> str:
    """That the feet would move with the hips of the active note's character, or ''."""
    note, _ = active_note(context)
    character = character_named(context, note.character) if note is not None else None
    if character is None:
        return ""
    followed = {goal.part for goal in character.goals}
    if all(f"foot.{side}" in followed for side in SIDES if character.has(f"foot.{side}")):
        return ""
    return rpt_("Its legs follow no goals: the feet would move with the hips")


class MendsKeys(Refusing):
    """Mixin of operators that carry a remedy out on the keys that the active note names, then check again."""

    remedy: ClassVar[type]
    report: Any

    def execute(self, context: Any) -> Any:
        note, _ = active_note(context)
        if note is None or not isinstance(note.remedy, self.remedy):
            return {"CANCELLED"}
        why = mend_keys(context, note)
        if why:
            self.report({"WARNING"}, why)
            return {"CANCELLED"}
        again(context, note)
        return {"FINISHED"}


def again(context: Any, note: Note) -> None:
    """Checks the shot again and says what became of the note."""
    context.view_layer.update()
    session.mark_edited(context.scene.session_uid, note.character)
    mending.check_again(context, note)
