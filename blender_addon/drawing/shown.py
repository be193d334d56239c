# SPDX-License-Identifier: GPL-3.0-or-later
"""Which notes are drawn now, and which of them is selected: the list's own filters, applied once a change."""

from dataclasses import dataclass
from typing import Any

from ...core.note import Note
from .. import filters, session, settings


@dataclass(frozen=True, eq=False)
class Shown:
    """The notes of a scene that its list shows, and the selected one of them. The same object as long as nothing
    changes, so that what was built from it can be kept."""

    result: Any
    notes: tuple[Note, ...]
    selected: Note | None


_NOTHING = Shown(None, (), None)
_last: tuple[Any, Shown] = ((), _NOTHING)


def shown(context: Any) -> Shown:
    """What is drawn in this context's scene. Cheap enough for every redraw."""
    global _last
    checked = session.of(context.scene) if context.scene is not None else None
    if checked is None or checked.result is None:
        return _NOTHING
    number, passing = settings.active_number(context), filters.now(context)
    key = (number, passing)
    if _last[0] != key or _last[1].result is not checked.result:
        every = checked.notes
        notes = tuple(note for note in every if passing.passes(note))
        active = every[number] if 0 <= number < len(every) else None
        kept = next((note for note in notes if note is active), None)
        _last = (key, Shown(checked.result, notes, kept))
    return _last[1]


def forget() -> None:
    """Lets go of the last result."""
    global _last
    _last = ((), _NOTHING)
