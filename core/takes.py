# SPDX-License-Identifier: GPL-3.0-or-later
"""The same note in another take or another check of the shot, and notes that a person has set aside.

Two notes are the same where check, character and part are and their frames overlap. A note that was set aside stays
aside while it is the same and no worse; it comes back when it reaches a higher severity, or when it lies a quarter of
its limit further beyond it (common practice, no source).
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from .note import Note, Severity

#: The share of its limit by which a note that was set aside may get worse before it comes back.
STEP = 0.25


class TakesError(ValueError):
    """What was kept cannot be read, with one sentence that says why."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A note as it was when a person set it aside, and why. ``start`` and ``end`` are scene frames, both inside."""

    check: str
    character: str
    part: str
    start: int
    end: int
    severity: str
    measured: float
    limit: float
    reason: str

    def covers(self, note: Note) -> bool:
        """Whether this note stays aside: the same one, and not worse by the stated step."""
        if (self.check, self.character, self.part) != (note.check, note.character, note.part):
            return False
        if note.start > self.end or note.end < self.start:
            return False
        if note.severity.rank > Severity(self.severity).rank:
            return False
        way = 1.0 if self.measured >= self.limit else -1.0  # below the limit is worse where little is bad
        return way * (note.measured - self.measured) <= STEP * abs(self.limit)


def set_aside(note: Note, reason: str) -> SetAside:
    """This note, set aside for a reason. Raises TakesError where no reason is given."""
    reason = " ".join(reason.split())
    if not reason:
        raise TakesError("say why the note is set aside")
    return SetAside(
        note.check,
        note.character,
        note.part,
        note.start,
        note.end,
        note.severity.value,
        float(note.measured),
        float(note.limit),
        reason,
    )


def put_aside(notes: Iterable[Note], kept: Sequence[SetAside]) -> tuple[Note, ...]:
    """The notes, those that one of ``kept`` covers with its reason, all others without one."""
    out = []
    for note in notes:
        reason = next((aside.reason for aside in kept if aside.covers(note)), None)
        out.append(note if note.set_aside == reason else replace(note, set_aside=reason))
    return tuple(out)


def same(one: Note, other: Note) -> bool:
    """Whether two notes of two takes speak of the same thing."""
    return (
        (one.check, one.character, one.part) == (other.check, other.character, other.part)
        and one.start <= other.end
        and other.start <= one.end
    )


@dataclass(frozen=True, slots=True)
class Changes:
    """Notes of an earlier take that are gone, and of the later one that are still there and that are new."""

    fixed: tuple[Note, ...]
    still: tuple[Note, ...]
    new: tuple[Note, ...]


def compare(before: Iterable[Note], after: Iterable[Note]) -> Changes:
    """What became of the notes of one take in the next."""
    before, after = tuple(before), tuple(after)
    return Changes(
        tuple(note for note in before if not any(same(note, other) for other in after)),
        tuple(note for note in after if any(same(note, other) for other in before)),
        tuple(note for note in after if not any(same(note, other) for other in before)),
    )


def write(kept: Iterable[SetAside]) -> str:
    """What is set aside as JSON text, to be kept with the shot."""
    return json.dumps([asdict(aside) for aside in kept], ensure_ascii=False, allow_nan=False)


def read(text: Any) -> tuple[SetAside, ...]:
    """What ``write`` wrote. Raises TakesError with a sentence."""
    if not isinstance(text, str):
        raise TakesError("the list of notes that are set aside is no text")
    try:
        data = json.loads(text)
    except ValueError as error:
        raise TakesError(f"the list of notes that are set aside is not JSON: {error}") from None
    if not isinstance(data, list):
        raise TakesError("the list of notes that are set aside is no list")
    return tuple(_read(entry) for entry in data)


def _read(entry: Any) -> SetAside:
    names = {f.name: f.type for f in fields(SetAside)}
    if not isinstance(entry, dict) or set(entry) != set(names):
        raise TakesError(f"a note that is set aside needs {', '.join(names)}")
    kinds: dict[Any, tuple[type, ...]] = {int: (int,), float: (int, float), str: (str,)}
    for name, kind in names.items():
        if isinstance(entry[name], bool) or not isinstance(entry[name], kinds[kind]):
            raise TakesError(f'"{name}" of a note that is set aside is {entry[name]!r}')
    if entry["severity"] not in [severity.value for severity in Severity]:
        raise TakesError(f'a note that is set aside has the severity "{entry["severity"]}"')
    return SetAside(**entry)
