# SPDX-License-Identifier: GPL-3.0-or-later
"""The notes file: one run over one shot as JSON data, by the published schema notes.schema.json beside this file.

Frames are whole scene frames, both ends inside, but for contacts, which have fractions; places are world meters (pixels
of a picture with a shorter side of 1080 for a screen outline); every number is finite.
"""

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

from ..evidence import Evidence
from ..measures.contact_rows import ContactRow
from ..note import Failure, Note, Result
from ..remedy import Remedy
from ..shot import Shot, Surface

#: Version of the notes file; a change that a reader could stumble over raises it.
VERSION = 1

#: Decimals kept of places and sizes: a micrometre.
DECIMALS = 6


def schema() -> dict[str, Any]:
    """The published JSON Schema (2020-12) of the notes file."""
    data: dict[str, Any] = json.loads(Path(__file__).with_name("notes.schema.json").read_text("utf-8"))
    return data


def sound(result: Result) -> Result:
    """The result without notes that no file could carry: one whose numbers are not finite becomes a failure of its
    check.

    A shape of evidence that is not finite is left out and its note stays, since the measure itself is whole.
    """
    notes: list[Note] = []
    failed = list(result.failed)
    for note in result.notes:
        if not (math.isfinite(note.measured) and math.isfinite(note.limit)):
            failed.append(
                Failure(
                    note.check,
                    note.character,
                    f"a note on {note.part} at frame {note.worst} measured {note.measured} against {note.limit}",
                )
            )
            continue
        remedy = note.remedy if note.remedy is None or _finite(note.remedy) else None
        notes.append(replace(note, remedy=remedy, evidence=tuple(e for e in note.evidence if _finite(e))))
    return replace(result, notes=tuple(notes), failed=tuple(failed))


def notes_data(
    shot: Shot,
    result: Result,
    complete: bool,
    belts: Iterable[tuple[Sequence[float], str]] = (),
    contacts: Iterable[ContactRow] = (),
) -> dict[str, Any]:
    """The notes file's content.

    complete: true only where nothing is still to come. belts: velocity (3,) in m/s in the world of the ground that a
    character's cycle in place runs on, and a sentence that says so; each adds an entry to ``ground``. contacts: what
    touches the ground when, of all characters; their frames may be fractions.
    What the sweep could not show (the shot's remarks, a character's warnings) goes into ``skipped`` with no check's
    name.
    """
    result = sound(result)
    remarks = [{"check": "", "character": "", "why": clean(why)} for why in shot.remarks]
    warnings = [
        {"check": "", "character": clean(c.name), "why": clean(why)} for c in shot.characters for why in c.warnings
    ]
    return {
        "schema": VERSION,
        "complete": bool(complete),
        "shot": {
            "file": clean(shot.file),
            "first": int(shot.first or 0),
            "last": int(shot.last or 0),
            "fps": _number(shot.fps),
            "units": _number(shot.unit_scale),
        },
        "characters": [
            {
                "name": clean(c.name),
                "map": {part: clean(bone) for part, bone in zip(c.parts, c.bones, strict=True)},
                "leg_length": _number(c.leg_length),
            }
            for c in shot.characters
        ],
        "props": [{"name": clean(p.name), "why": clean(p.why)} for p in shot.props],
        "ground": [_ground(shot, s) for s in shot.surfaces]
        + [
            {"name": None, "why": clean(why), "moving": True, "velocity": [_number(v) for v in velocity]}
            for velocity, why in belts
        ],
        "contacts": [_contact(row) for row in contacts],
        "notes": _notes(result.notes),
        "skipped": remarks
        + warnings
        + [{"check": s.check, "character": clean(s.character), "why": clean(s.why)} for s in result.skipped],
        "failed": [{"check": f.check, "character": clean(f.character), "error": clean(f.error)} for f in result.failed],
    }


def dump(data: Mapping[str, Any]) -> str:
    """The data as JSON text, one note a line block; raises ValueError rather than write a number JSON does not have."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def clean(text: str) -> str:
    """The text with halves of broken characters (as undecodable file names carry) replaced, so that it is valid
    UTF-8."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def evidence_data(shape: Evidence) -> dict[str, Any]:
    """One shape of evidence: its fields, tagged ``shape`` with its name ('point', 'screen_outline')."""
    return {"shape": _tag(shape), **_plain_fields(shape)}


def remedy_data(remedy: Remedy | None) -> dict[str, Any] | None:
    """A remedy: its fields, tagged ``do`` with its name ('move', 'turn'), and its sentence as ``text``."""
    if remedy is None:
        return None
    return {"do": _tag(remedy), "text": clean(remedy.sentence()), **_plain_fields(remedy)}


def _notes(notes: tuple[Note, ...]) -> list[dict[str, Any]]:
    out = []
    seen: dict[str, int] = {}
    for note in notes:
        seen[note.id] = seen.get(note.id, 0) + 1
        # two faces of one check can speak of the same part from the same frame: the second and later are numbered
        number = clean(note.id) + (f"/{seen[note.id]}" if seen[note.id] > 1 else "")
        out.append(
            {
                "id": number,
                "check": note.check,
                "lane": note.lane,
                "character": clean(note.character),
                "part": clean(note.part),
                "start": int(note.start),
                "end": int(note.end),
                "worst": int(note.worst),
                "severity": note.severity.value,
                "measured": _number(note.measured),
                "limit": _number(note.limit),
                "unit": note.unit,
                "source": note.source,
                "text": clean(note.text),
                "remedy": remedy_data(note.remedy),
                "evidence": [evidence_data(e) for e in note.evidence],
                "keys": [
                    {"owner": clean(k.owner), "channel": clean(k.channel), "frames": [_number(f) for f in k.frames]}
                    for k in note.keys
                ],
                "trial": bool(note.trial),
                "set_aside": None if note.set_aside is None else {"reason": clean(note.set_aside)},
            }
        )
    return out


def _contact(row: ContactRow) -> dict[str, Any]:
    on, off = (None if at is None else _number(at) for at in (row.on, row.off))
    return {"character": clean(row.character), "part": row.part, "on": on, "off": off, "kind": row.kind}


def _ground(shot: Shot, surface: Surface) -> dict[str, Any]:
    """Velocity is that of the surface's origin, the mean over the sampled frames, m/s in the world."""
    velocity = np.zeros(3)
    moved = False
    if surface.moving:
        path = surface.world[:, :3, 3]
        moved = bool(np.ptp(surface.world, axis=0).max() > 1e-6)
        seconds = float(shot.times[-1] - shot.times[0])
        if seconds > 0 and np.isfinite(path[[0, -1]]).all():
            velocity = (path[-1] - path[0]) / seconds
    return {
        "name": None if surface.name is None else clean(surface.name),
        "why": clean(surface.why),
        "moving": moved,
        "velocity": [_number(v) for v in velocity],
    }


def _tag(thing: Any) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "_", type(thing).__name__).lower()


def _plain_fields(thing: Any) -> dict[str, Any]:
    return {f.name: _plain(getattr(thing, f.name)) for f in fields(thing)}


def _plain(value: Any) -> Any:
    """JSON's own types of a field's value."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return clean(value)
    if value is None or isinstance(value, bool | np.bool_):
        return None if value is None else bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return _number(round(float(value), DECIMALS))
    if isinstance(value, tuple | list | np.ndarray):
        return [_plain(v) for v in value]
    raise TypeError(f"{type(value).__name__} has no place in a notes file")


def _number(value: Any) -> float | int:
    """A finite number; whole ones as integers, so that frames read as frames."""
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"the notes file cannot carry {number}")
    return int(number) if number.is_integer() and abs(number) < 2**53 else number


def _finite(value: Any) -> bool:
    # most are numbers in rows of places, so these are asked for first
    if isinstance(value, float | np.floating):
        return math.isfinite(value)
    if isinstance(value, tuple | list):
        return all(map(_finite, value))
    if isinstance(value, np.ndarray):
        return bool(np.isfinite(value).all())
    return not is_dataclass(value) or all(_finite(getattr(value, f.name)) for f in fields(value))
