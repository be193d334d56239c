# SPDX-License-Identifier: GPL-3.0-or-later
"""Short words for a note, where its whole sentence has no room: rows of the list, names of markers, titles."""

from collections.abc import Iterable

from ..core.amounts import frames
from ..core.body import PARTS, mirror, side, spoken
from ..core.note import Note

_DEGREE = "\N{DEGREE SIGN}"


#: How a unit is written where there is little room: factor, ending, decimals of what was measured.
_UNITS = {
    "m": (100.0, " cm", 1),
    "deg": (1.0, _DEGREE, 0),
    "1": (100.0, " %", 1),
    "frames": (1.0, " fr", 0),
    "px": (1.0, " px", 1),
}
#: Endings of amounts that are told whole from ten up.
_ROUND = (" cm", " %", " px")


def amount(note: Note) -> str:
    """What was measured, with its unit: '4.1 cm', '85 cm', '98°', '3.5 %', '2.0 px'. Outlines that overlap a little and
    that are apart a little read the same: which it is, the sentence says."""
    measured = abs(note.measured) if note.unit == "px" else note.measured
    factor, ending, decimals = _written(measured, note.unit)
    if ending in _ROUND and abs(measured * factor) >= 9.95:  # a tenth is then no more than noise
        decimals = 0
    return f"{measured * factor:.{decimals}f}{ending}"


def limit(note: Note) -> str:
    """The limit that was passed: as ``amount``, without zeros at the end."""
    factor, ending, decimals = _written(note.limit, note.unit)
    number = f"{note.limit * factor:.{max(decimals, 1)}f}"
    return f"{number.rstrip('0').rstrip('.')}{ending}"


def when(note: Note) -> str:
    """'frame 58', 'frames 143 to 155, worst 155'."""
    return frames(note.start, note.end) + (f", worst {note.worst}" if note.start != note.end else "")


def _written(value: float, unit: str) -> tuple[float, str, int]:
    if unit == "m" and abs(value) >= 1:
        return 1.0, " m", 2
    return _UNITS.get(unit, (1.0, f" {unit}", 2))


def place(note: Note) -> str:
    """The part that the note is about: 'Left foot', 'Both shins', '"Lantern"'."""
    if note.part not in PARTS:
        return note.part
    other = mirror(note.part)
    if other != note.part and other in note.parts:
        return f"Both {_several(spoken(note.part).partition(' ')[2])}"
    return spoken(note.part).capitalize()


def brief(note: Note) -> str:
    """``place`` for the narrow list: 'Foot L', 'Up arm R', 'Both shins', '"Lantern"'."""
    told = place(note)
    if note.part not in PARTS or not side(note.part) or told.startswith("Both "):
        return told
    what = spoken(note.part).partition(" ")[2].replace("upper ", "up ")  # cut short it would lose its side
    return f"{what.capitalize()} {side(note.part)}"


def title(note: Note) -> str:
    """The check and the part: 'Slip, left foot'."""
    return f"{check(note.check)}, {_lower(place(note), note)}"


def named(note: Note, several: bool) -> str:
    """``title``, with the character's name before it where the shot has several: 'Mara: Slip, left foot'."""
    return f"{note.character}: {title(note)}" if several and note.character else title(note)


def tip(note: Note, several: bool) -> str:
    """What resting the mouse on a row or a mark says: check, part, amount, frame, and the whole sentence."""
    return f"{named(note, several)} {amount(note)}, {when(note)}. {note.text}"


def check(name: str) -> str:
    """A check's name as a title: 'Joint limit'."""
    return name.replace("-", " ").capitalize()


def capital(text: str) -> str:
    """The sentence with a capital first, its other letters as they are."""
    return text[:1].upper() + text[1:]


def marker(notes: Iterable[Note], several: bool = False) -> str:
    """The name of the one marker that these notes share, the severest first, within Blender's 63 bytes. several: the
    shot has several characters."""
    first, *others = sorted(notes, key=lambda n: -n.severity.rank)
    more = f" +{len(others)}" if others else ""
    return cut(f"{named(first, several)} {amount(first)}", 63 - len(more)) + more


def cut(text: str, most: int) -> str:
    """The text held to so many bytes of UTF-8, never in the middle of a letter."""
    return text.encode("utf-8", "replace")[:most].decode("utf-8", "ignore")


def _lower(words: str, note: Note) -> str:
    return words if note.part not in PARTS else words[0].lower() + words[1:]


def _several(part: str) -> str:
    return {"foot": "feet", "thigh": "thighs"}.get(part, f"{part}s")
