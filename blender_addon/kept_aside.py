# SPDX-License-Identifier: GPL-3.0-or-later
"""Notes that a person has set aside, kept on the scene as a plain custom property: saved, undone, appended with it."""

from dataclasses import replace
from typing import Any

from ..core.note import Note, Result, Skip
from ..core.takes import SetAside, TakesError, put_aside, read, write

PROPERTY = "plumbline_set_aside"


def kept(scene: Any) -> tuple[SetAside, ...]:
    """What is set aside in this scene. Raises TakesError where the property was written by somebody else."""
    return read(scene[PROPERTY]) if PROPERTY in scene else ()


def applied(result: Result, scene: Any) -> Result:
    """The result with the notes that are set aside marked so; what cannot be read is said once."""
    try:
        asides = kept(scene)
    except TakesError as error:
        return replace(result, skipped=(*result.skipped, Skip("", "", str(error))))
    return replace(result, notes=put_aside(result.notes, asides))


def again(result: Result, scene: Any) -> Result:
    """The result after what is set aside may have changed in this scene; the same object where it has not."""
    notes = put_aside(result.notes, _readable(scene))
    news = any(new is not old for new, old in zip(notes, result.notes, strict=True))
    return replace(result, notes=notes) if news else result


def keep(scene: Any, aside: SetAside, note: Note) -> None:
    """Sets a note aside in this scene in place of an earlier time. Call it from an operator with undo."""
    _write(scene, (*(a for a in _readable(scene) if not a.covers(note)), aside))


def bring_back(scene: Any, note: Note) -> None:
    """Forgets that a note was set aside. Call it from an operator with undo."""
    _write(scene, tuple(a for a in _readable(scene) if not a.covers(note)))


def _readable(scene: Any) -> tuple[SetAside, ...]:
    try:
        return kept(scene)
    except TakesError:
        return ()


def _write(scene: Any, asides: tuple[SetAside, ...]) -> None:
    if asides:
        scene[PROPERTY] = write(asides)
    elif PROPERTY in scene:
        del scene[PROPERTY]
