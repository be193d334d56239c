# SPDX-License-Identifier: GPL-3.0-or-later
"""A note laid over a still: its evidence, and a plate with its sentence. Sizes are those of a picture with a shorter
side of 720 and grow with it."""

from collections.abc import Iterable

import numpy as np

from ..check import LANES
from ..evidence import Label
from ..marks import Frame, Mark, evidence_marks, rectangle, shown
from ..note import Note
from ..numeric.camera import View
from ..palette import KEY, LANE_COLORS, PAPER
from ..placing import anchor, beside
from ..shot import Shot
from . import raster
from .stroke_font import strokes

Array = np.ndarray


def frame_of(view: View, number: int, size: tuple[int, int]) -> Frame:
    """The frame of a still of this size (width, height) in pixels at scene frame ``number``."""
    return Frame(view, number, size, unit=min(size) / 720.0)


def marks(note: Note, frame: Frame, camera: bool = True) -> list[Mark]:
    """All marks of a note in one frame, its plate included, those drawn first coming first.

    camera: the view is the shot's own camera, in which alone a screen outline has its place.
    """
    evidence = evidence_marks(note, frame, camera)
    at = anchor(note, evidence)
    for shape in shown(note, frame.number, camera):
        if isinstance(shape, Label):
            evidence += _words(shape, frame)
    return evidence + _plate(note, frame, evidence, at)


def bones(shot: Shot, frame: Frame) -> list[Mark]:
    """The figures' bones as plain lines, for a rig without a skin: stills do not show armatures."""
    i = int(np.argmin(np.abs(shot.frames - frame.number)))
    lines = [frame.pixels([c.head(part)[i], c.end(part)[i]]) for c in shot.characters for part in c.parts]
    whole = tuple(line for line in lines if np.isfinite(line).all())
    return [Mark(whole, 5 * frame.unit, KEY, 0.6), Mark(whole, 3 * frame.unit, PAPER, 0.5)] if whole else []


def draw(pixels: Array, drawn: Iterable[Mark]) -> None:
    """Lays marks over pixels (H, W, 3) float 0 to 1, in place."""
    for mark in drawn:
        flat = [line[:, :2] for line in mark.lines]
        if mark.width:
            raster.stroke(pixels, flat, mark.width, mark.color, mark.alpha)
        else:
            for outline in flat:
                raster.fill(pixels, outline, mark.color, mark.alpha)


def _plate(note: Note, frame: Frame, evidence: list[Mark], at: Array | None) -> list[Mark]:
    """The note's own plate: the lane's letter on its chip, the sentence, and which frame this is; beside the
    evidence, with a line to the first thing found."""
    u, lane = frame.unit, LANE_COLORS[note.lane]
    span = f"frame {frame.number}" if note.start == note.end else f"frame {frame.number} of {note.start} to {note.end}"
    who = f"{note.character}, " if note.character else ""
    rows = [(row, 10 * u, 1.0) for row in _wrapped(note.text, 58)] + [
        (f"{who}{span}, {note.severity.value}", 8 * u, 0.8)
    ]
    width = max(strokes(row, size)[1] for row, size, _ in rows) + 44 * u
    height = sum(size * 1.9 for _, size, _ in rows) + 12 * u
    corner = beside(evidence, at, (width, height), (0.0, 0.0, *frame.size), u)
    out = []
    if at is not None:
        near = np.clip(at, corner, corner + (width, height))
        line = _flat(np.stack([near, at]))
        out += [Mark((line,), 3 * u, KEY, 0.6), Mark((line,), 1.2 * u, PAPER, 0.85)]
    out += [
        Mark((rectangle(corner, width, height),), 0, KEY, 0.80),
        Mark((rectangle(corner, 3 * u, height),), 0, lane),
    ]
    chip = rectangle(corner + (10 * u, 8 * u), 17 * u, 17 * u)
    letter, wide = strokes(LANES[note.lane], 10 * u)
    middle = corner + (18.5 * u - wide / 2, 11.5 * u)
    out += [Mark((chip,), 0, lane), Mark(tuple(_flat(s + middle) for s in letter), 2 * u, KEY)]
    y = 10 * u
    for row, size, alpha in rows:
        lines, _ = strokes(row, size)
        if lines:
            out.append(Mark(tuple(_flat(s + corner + (34 * u, y)) for s in lines), size * 0.15, PAPER, alpha))
        y += size * 1.9
    return out


def _words(label: Label, frame: Frame) -> list[Mark]:
    """A label on its own small plate; nothing behind the camera."""
    at = frame.pixels([label.place])[0, :2] + (8 * frame.unit, -16 * frame.unit)
    size = 9 * frame.unit
    lines, width = strokes(label.text, size)
    if not lines or not np.isfinite(at).all():
        return []
    return [
        Mark((rectangle(at - size * 0.5, width + size, size * 2.2),), 0, KEY, 0.80),
        Mark(tuple(_flat(line + at) for line in lines), size * 0.15, PAPER),
    ]


def _flat(line: Array) -> Array:
    """Pixels (n, 2) of what has no place in the world, as a mark holds them."""
    return np.column_stack([line, np.zeros(len(line))])


def _wrapped(text: str, most: int) -> list[str]:
    rows = [""]
    for word in text.split():
        if rows[-1] and len(rows[-1]) + len(word) >= most:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}".strip()
    return rows
