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
#: Scenes above which what was kept of each is let go.
MANY = 16
#: What each scene shows and by which filter, by its session_uid: windows may show different scenes in turn.
_last: dict[int, tuple[Any, Shown]] = {}


def shown(context: Any) -> Shown:
    """What is drawn in this context's scene. Cheap enough for every redraw."""
    checked = session.of(context.scene) if context.scene is not None else None
    if checked is None or checked.result is None:
        return _NOTHING
    key = (settings.active_number(context), filters.now(context))
    uid = context.scene.session_uid
    kept = _last.get(uid)
    if kept is None or kept[0] != key or kept[1].result is not checked.result:
        number, passing = key
        every = checked.notes
        notes = tuple(note for note in every if passing.passes(note))
        active = every[number] if 0 <= number < len(every) else None
        selected = next((note for note in notes if note is active), None)
        if len(_last) > MANY:
            _last.clear()
        kept = _last[uid] = (key, Shown(checked.result, notes, selected))
    return kept[1]


def forget() -> None:
    """Lets go of the last results."""
    _last.clear()
