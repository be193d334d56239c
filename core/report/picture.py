# SPDX-License-Identifier: GPL-3.0-or-later
"""Evidence over a picture: a note's shapes, projected by a view, as flat strokes and fills.

What the shot does has the lane's color, what it is held against is paper white, and a dark line lies round each mark.
Sizes are pixels of a picture with a shorter side of 720 and grow with it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..check import LANES
from ..evidence import Arc, Arrow, Evidence, Patch, Point, Polyline, ScreenOutline
from ..note import Note
from ..numeric.camera import View
from ..numeric.rotation import exp
from ..shot import Shot
from . import raster
from .palette import KEY, LANE_COLORS, PAPER, Color
from .stroke_font import strokes

Array = np.ndarray


@dataclass(frozen=True)
class Mark:
    """Lines (each (n, 2), pixels from the upper left corner) of one width, or a fill where ``width`` is 0."""

    lines: tuple[Array, ...]
    width: float
    color: Color
    alpha: float = 1.0


@dataclass(frozen=True)
class Frame:
    """A view onto the shot at scene frame ``number``, and the size (width, height) in pixels of the picture that
    shows it."""

    view: View
    number: int
    size: tuple[int, int]

    @property
    def unit(self) -> float:
        """Pixels of this picture for one pixel of a picture of 720."""
        return min(self.size) / 720.0

    def pixels(self, places: Array | Sequence[Sequence[float]]) -> Array:
        """World places (n, 3) -> pixels (n, 2) from the upper left corner; NaN behind the camera."""
        x, y, _ = self.view.project(np.asarray(places, float).reshape(-1, 3))
        return self.from_units(np.stack([x, y], axis=1))

    def from_units(self, places: Array) -> Array:
        """Picture units, shorter side 1080 and y up -> pixels from the upper left corner."""
        k = self.size[0] / float(self.view.size[0])
        out: Array = np.stack([places[:, 0] * k, self.size[1] - places[:, 1] * k], axis=1)
        return out


def marks(note: Note, frame: Frame, camera: bool = True) -> list[Mark]:
    """All marks of a note in one frame, those drawn first coming first.

    camera: the view is the shot's own camera, in which alone a screen outline has its place.
    """
    lane = LANE_COLORS[note.lane]
    shown = [
        e
        for e in note.evidence
        if e.frames[0] <= frame.number <= e.frames[1] and (camera or not isinstance(e, ScreenOutline))
    ]
    shown.sort(key=lambda e: e.role == "found")  # yardsticks below, the finding above
    out: list[Mark] = []
    anchor = None
    for shape in shown:
        drawn = _keyed(_shape(shape, frame, lane if shape.role == "found" else PAPER), frame.unit)
        out += drawn
        if anchor is None and shape.role == "found" and drawn:
            spots = np.concatenate([line for m in drawn for line in m.lines])
            middle = (spots.min(0) + spots.max(0)) / 2  # the line ends on the mark, not in the air beside it
            anchor = spots[np.argmin(np.linalg.norm(spots - middle, axis=1))]
    return out + _plate(note, frame, lane, out, anchor)


def bones(shot: Shot, frame: Frame) -> list[Mark]:
    """The figures' bones as plain lines, for a rig without a skin: stills do not show armatures."""
    i = int(np.argmin(np.abs(shot.frames - frame.number)))
    lines = [frame.pixels([c.head(part)[i], c.end(part)[i]]) for c in shot.characters for part in c.parts]
    whole = tuple(line for line in lines if np.isfinite(line).all())
    return [Mark(whole, 5 * frame.unit, KEY, 0.6), Mark(whole, 3 * frame.unit, PAPER, 0.5)] if whole else []


def draw(pixels: Array, drawn: Iterable[Mark]) -> None:
    """Lays marks over pixels (H, W, 3) float 0 to 1, in place."""
    for mark in drawn:
        if mark.width:
            raster.stroke(pixels, list(mark.lines), mark.width, mark.color, mark.alpha)
        else:
            for outline in mark.lines:
                raster.fill(pixels, outline, mark.color, mark.alpha)


def _shape(shape: Evidence, frame: Frame, color: Color) -> list[Mark]:
    found = shape.role == "found"
    if isinstance(shape, Point):
        return _point(shape, frame, color)
    if isinstance(shape, Polyline):
        return _polyline(shape, frame, color)
    if isinstance(shape, Arrow):
        return _arrow(frame.pixels([shape.start, shape.end]), 2.5 if found else 1.5, frame.unit, color)
    if isinstance(shape, Arc):
        return _arc(shape, frame, color)
    if isinstance(shape, Patch):
        outline = frame.pixels(shape.places)
        if len(outline) < 3 or not np.isfinite(outline).all():
            return []
        edge = np.vstack([outline, outline[:1]])
        lines = (edge,) if found else _dashes(edge, frame.unit)
        return [
            Mark((outline,), 0, color, 0.34 if found else 0.10),
            Mark(lines, (2.5 if found else 1.5) * frame.unit, color),
        ]
    if isinstance(shape, ScreenOutline):
        places = frame.from_units(np.array(shape.places, float))
        if shape.closed:
            places = np.vstack([places, places[:1]])
        return [Mark(_pieces(places), (3.0 if found else 1.5) * frame.unit, color)]
    at = frame.pixels([shape.place])[0]
    return (
        _words(shape.text, at + (8 * frame.unit, -16 * frame.unit), 9 * frame.unit, PAPER)
        if np.isfinite(at).all()
        else []
    )


def _point(shape: Point, frame: Frame, color: Color) -> list[Mark]:
    each = len(shape.places) == shape.frames[1] - shape.frames[0] + 1
    at = frame.pixels([shape.places[frame.number - shape.frames[0]] if each else shape.places[0]])[0]
    if not np.isfinite(at).all():
        return []
    if shape.kind == "disc":
        return [Mark((_circle(at, 4 * frame.unit),), 0, color)]
    ring = _circle(at, (9 if shape.kind == "ring" else 11) * frame.unit)
    out = [Mark((np.vstack([ring, ring[:1]]),), 2.5 * frame.unit, color)]
    if shape.kind == "mass":  # the draftsman's quartered circle
        n = len(ring) // 4
        out += [
            Mark((np.vstack([at, ring[: n + 1]]),), 0, color),
            Mark((np.vstack([at, ring[2 * n : 3 * n + 1]]),), 0, color),
        ]
    return out


def _polyline(shape: Polyline, frame: Frame, color: Color) -> list[Mark]:
    places = frame.pixels(shape.places)
    width = (2.5 if shape.role == "found" else 1.5) * frame.unit
    lines = _pieces(places)
    out = [Mark(tuple(d for line in lines for d in _dashes(line, frame.unit)) if shape.dashed else lines, width, color)]
    if shape.ticks and len(places) > 1:
        along = np.gradient(places, axis=0)
        length = np.linalg.norm(along, axis=1)
        half = (5.0 if shape.role == "found" else 2.5) * frame.unit
        for k, (at, d, n) in enumerate(zip(places, along, length, strict=True)):
            if np.isfinite(n) and n > 1e-9:
                across = np.array([-d[1], d[0]]) / n * half
                away = abs(shape.frames[0] + k - frame.number)
                out.append(
                    Mark((np.stack([at - across, at + across]),), 1.5 * frame.unit, color, max(0.16, 1 - away / 9))
                )
    return out


def _arrow(ends: Array, width: float, unit: float, color: Color) -> list[Mark]:
    d = ends[1] - ends[0]
    length = float(np.linalg.norm(d))
    if not np.isfinite(length) or length < 1e-6:
        return []
    d = d / length
    side = np.array([-d[1], d[0]])
    head = min(9 * unit, length)
    base = ends[1] - d * head
    return [
        Mark((np.stack([ends[0], base]),), width * unit, color),
        Mark((np.stack([ends[1], base + side * head * 0.45, base - side * head * 0.45]),), 0, color),
    ]


def _arc(shape: Arc, frame: Frame, color: Color) -> list[Mark]:
    steps = max(2, int(np.ceil(abs(shape.angle) / 6)) + 1)
    axis, zero, centre = np.array(shape.axis), np.array(shape.zero), np.array(shape.centre)
    turns = np.radians(np.linspace(0, shape.angle, steps))
    rim = centre + np.stack([exp(axis * t) @ zero for t in turns]) * shape.radius
    places = frame.pixels(np.vstack([centre, rim]))
    if not np.isfinite(places).all():
        return []
    found = shape.role == "found"
    rays = [places[[0, -1]]] if found else [places[[0, -1]], *_dashes(places[[0, 1]], frame.unit)]
    out = [Mark((places,), 0, color, 0.30)] if found else []
    out += [
        Mark((places[1:],), (3.0 if found else 1.5) * frame.unit, color, 1.0 if found else 0.7),
        Mark(tuple(rays), (2.5 if found else 1.5) * frame.unit, color),
    ]
    return out + ([Mark((_circle(places[0], 4 * frame.unit),), 0, color)] if found else [])


def _plate(note: Note, frame: Frame, lane: Color, evidence: list[Mark], anchor: Array | None) -> list[Mark]:
    """The note's own plate: the lane's letter on its chip, the sentence, and which frame this is; beside the
    evidence, with a
    line to the first thing found."""
    u = frame.unit
    span = f"frame {frame.number}" if note.start == note.end else f"frame {frame.number} of {note.start} to {note.end}"
    who = f"{note.character}, " if note.character else ""
    rows = [(row, 10 * u, 1.0) for row in _wrapped(note.text, 58)] + [
        (f"{who}{span}, {note.severity.value}", 8 * u, 0.8)
    ]
    width = max(strokes(row, size)[1] for row, size, _ in rows) + 44 * u
    height = sum(size * 1.9 for _, size, _ in rows) + 12 * u
    room = np.array(frame.size, float)
    if anchor is not None:
        around = np.concatenate([line for m in evidence for line in m.lines])
        low, high = around.min(0), around.max(0)
        right = high[0] + 26 * u + width < room[0]
        corner = np.array([high[0] + 26 * u if right else low[0] - 26 * u - width, anchor[1] - height / 2])
    else:
        corner = np.array([16 * u, 16 * u])
    corner = np.clip(corner, 8 * u, np.maximum(room - (width, height) - 8 * u, 8 * u))
    plate = _rectangle(corner, width, height)
    out = []
    if anchor is not None:
        near = np.clip(anchor, corner, corner + (width, height))
        out += [
            Mark((np.stack([near, anchor]),), 3 * u, KEY, 0.6),
            Mark((np.stack([near, anchor]),), 1.2 * u, PAPER, 0.85),
        ]
    out += [Mark((plate,), 0, KEY, 0.80), Mark((_rectangle(corner, 3 * u, height),), 0, lane)]
    chip = _rectangle(corner + (10 * u, 8 * u), 17 * u, 17 * u)
    letter, wide = strokes(LANES[note.lane], 10 * u)
    middle = corner + (18.5 * u - wide / 2, 11.5 * u)
    out += [Mark((chip,), 0, lane), Mark(tuple(s + middle for s in letter), 2 * u, KEY)]
    y = 10 * u
    for row, size, alpha in rows:
        lines, _ = strokes(row, size)
        if lines:
            out.append(Mark(tuple(s + corner + (34 * u, y) for s in lines), size * 0.15, PAPER, alpha))
        y += size * 1.9
    return out


def _words(text: str, at: Array, size: float, color: Color) -> list[Mark]:
    lines, width = strokes(text, size)
    return (
        [
            Mark((_rectangle(at - size * 0.5, width + size, size * 2.2),), 0, KEY, 0.80),
            Mark(tuple(line + at for line in lines), size * 0.15, color),
        ]
        if lines
        else []
    )


def _wrapped(text: str, most: int) -> list[str]:
    rows = [""]
    for word in text.split():
        if rows[-1] and len(rows[-1]) + len(word) >= most:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}".strip()
    return rows


def _keyed(drawn: list[Mark], unit: float) -> list[Mark]:
    """The marks over their dark edge. Translucent fills and plates have none."""
    edges = []
    for mark in drawn:
        if mark.color == KEY or mark.width and mark.width < 1.5 * unit - 1e-9:
            continue
        if mark.width:
            edges.append(replace(mark, width=mark.width + 2 * unit, color=KEY, alpha=0.95 * mark.alpha))
        elif mark.alpha == 1.0:
            closed = tuple(np.vstack([line, line[:1]]) for line in mark.lines)
            edges.append(Mark(closed, 2 * unit, KEY, 0.95))
    return edges + drawn


def _pieces(places: Array) -> tuple[Array, ...]:
    """The line cut where it goes behind the camera."""
    good = np.isfinite(places).all(axis=1)
    cuts = np.flatnonzero(np.diff(good.astype(int))) + 1
    return tuple(p for p, g in zip(np.split(places, cuts), np.split(good, cuts), strict=True) if len(g) and g[0])


def _dashes(line: Array, unit: float) -> tuple[Array, ...]:
    """Dashes of 6 pixels with gaps of 4 along a line."""
    if len(line) < 2 or not np.isfinite(line).all():
        return ()
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    out = []
    for start in np.arange(0.0, run[-1], 10 * unit):
        ends = np.array([start, min(start + 6 * unit, run[-1])])
        inner = run[(run > ends[0]) & (run < ends[1])]
        at = np.concatenate([ends[:1], inner, ends[1:]])
        out.append(np.stack([np.interp(at, run, line[:, 0]), np.interp(at, run, line[:, 1])], axis=1))
    return tuple(out)


def _circle(at: Array, radius: float) -> Array:
    turns = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    out: Array = at + radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return out


def _rectangle(corner: Array, width: float, height: float) -> Array:
    out: Array = corner + np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
    return out
