# SPDX-License-Identifier: GPL-3.0-or-later
"""Which frames were edited since the last check, so that the other notes stay as good as they were.

Found by a timer at a quiet moment, never in a handler: the keys are read again and held against those of the check.
Where more than keys was edited, all frames may have changed.
"""

import time
from typing import Any

import bpy

from ..core.key_changes import changed_spans
from ..core.shot import Keys
from . import fingerprint, redraw, session
from .sampling.keys import KeyBook

#: Seconds without an edit after which the frames are looked for.
_QUIET = 0.4
#: Seconds that a look may hold Blender up; where it would take longer, all frames count as edited.
_DEAR = 0.1

#: Before this moment of time.monotonic() they are not looked for.
_due = 0.0


def ask() -> None:
    """Has the edited frames found once nothing was edited for a moment.

    The one timer puts itself off: without an event loop Blender keeps every timer that was let go of, and looks through
    all of them at each edit.
    """
    global _due
    _due = time.monotonic() + _QUIET
    if not bpy.app.timers.is_registered(_tick):
        bpy.app.timers.register(_tick, first_interval=_QUIET)


def stop() -> None:
    """Lets go of the timer."""
    if bpy.app.timers.is_registered(_tick):
        bpy.app.timers.unregister(_tick)


def _tick() -> float | None:
    if session.job is not None:
        return _QUIET
    left = _due - time.monotonic()
    if left > 0.0:
        return left
    find(bpy.data.scenes)
    redraw.panels()
    return None


def find(scenes: Any) -> None:
    """Finds the edited frames of every scene whose check is stale."""
    for scene in scenes:
        checked = session.of(scene)
        session.see_cards(scene)
        if checked is None or checked.edit is None or checked.shot is None or checked.seconds > _DEAR:
            continue
        # Blender flags everything when a thing comes into the file, a picture for example
        if _same(scene, checked):
            session.not_edited(scene)
        else:
            session.edited_in(scene, _spans(scene, checked))


def _same(scene: Any, checked: session.Checked) -> bool:
    """Whether all that was measured is still as it was."""
    if checked.settings != session.settings(scene) or fingerprint.of_unkeyed(scene) != checked.unkeyed:
        return False
    return fingerprint.of_data(scene) == checked.data


def _spans(scene: Any, checked: session.Checked) -> tuple[tuple[int, int], ...] | None:
    shot = checked.shot
    assert shot is not None
    if checked.settings != session.settings(scene) or fingerprint.of_unkeyed(scene) != checked.unkeyed:
        return None
    book = KeyBook(scene, (float(shot.frames[0]), float(shot.frames[-1])))
    found: list[tuple[int, int]] = []
    for character in shot.characters:
        if character.keys is None:
            return None
        owners = list(dict.fromkeys(channel.object for channel in character.keys.channels)) or [character.name]
        objects = [bpy.data.objects.get(name) for name in owners]
        if None in objects:
            return None
        now: Keys = book.of_all(objects)
        found += changed_spans(character.keys, now, int(shot.first or 0), int(shot.last or 0))
    return tuple(sorted(set(found))) or None
