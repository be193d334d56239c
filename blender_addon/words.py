# SPDX-License-Identifier: GPL-3.0-or-later
"""Short words for a note, where its whole sentence has no room: rows of the list, names of markers, titles."""

from collections.abc import Iterable

from ..core.body import PARTS, mirror, spoken
from ..core.note import Note

_DEGREE = "\N{DEGREE SIGN}"


def amount(note: Note) -> str:
    """What was measured, with its unit: '4.1 cm', '98°', '3.5 %', '2 px'."""
    value, unit = note.measured, note.unit
    if unit == "m":
        return f"{value * 100:.1f} cm" if abs(value) < 1 else f"{value:.2f} m"
    if unit == "deg":
        return f"{value:.0f}{_DEGREE}"
    if unit == "1":
        return f"{value * 100:.1f} %"
    if unit == "frames":
        return f"{value:.0f} fr"
    if unit == "px":
        return f"{value:.1f} px"
    return f"{value:.2f} {unit}"


def limit(note: Note) -> str:
    """The limit that was passed, in the words of ``amount``."""
    value, unit = note.limit, note.unit
    if unit == "m":
        return f"{_short(value * 100)} cm" if abs(value) < 1 else f"{_short(value)} m"
    if unit == "deg":
        return f"{_short(value)}{_DEGREE}"
    if unit == "1":
        return f"{_short(value * 100)} %"
    return f"{value:.3g} {'fr' if unit == 'frames' else unit}"


def place(note: Note) -> str:
    """The part that the note is about: 'Left foot', 'Both shins', '"Lantern"'."""
    if note.part not in PARTS:
        return note.part
    other = mirror(note.part)
    if other != note.part and other in note.parts:
        return f"Both {_several(spoken(note.part).partition(' ')[2])}"
    return spoken(note.part).capitalize()


def title(note: Note) -> str:
    """The check and the part: 'Slip, left foot'."""
    return f"{note.check.replace('-', ' ').capitalize()}, {_lower(place(note), note)}"


def marker(notes: Iterable[Note]) -> str:
    """The name of the one marker that these notes share, the severest first, within Blender's 63 bytes."""
    first, *others = sorted(notes, key=lambda n: -n.severity.rank)
    more = f" +{len(others)}" if others else ""
    return cut(f"{title(first)} {amount(first)}", 63 - len(more)) + more


def cut(text: str, most: int) -> str:
    """The text held to so many bytes of UTF-8, never in the middle of a letter."""
    return text.encode("utf-8", "replace")[:most].decode("utf-8", "ignore")


def _lower(words: str, note: Note) -> str:
    return words if note.part not in PARTS else words[0].lower() + words[1:]


def _short(value: float) -> str:
    """One decimal, and none where it is zero."""
    return f"{value:.1f}".removesuffix(".0")


def _several(part: str) -> str:
    return {"foot": "feet", "thigh": "thighs"}.get(part, f"{part}s")
