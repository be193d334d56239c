# SPDX-License-Identifier: GPL-3.0-or-later
"""A note's evidence as flat marks in a picture: lines and fills in pixels, whoever draws them.

The report lays them over a still, the 3D viewport over its view. What the shot does has the lane's color, what it is
held against is paper white, and a dark line lies round each mark. Sizes are given at a unit of one pixel and grow with
the frame's ``unit``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .evidence import Arc, Arrow, Evidence, Label, Patch, Place, Point, Polyline, ScreenOutline
from .note import Note
from .numeric.between import straight
from .numeric.camera import View
from .numeric.rotation import exp
from .palette import KEY, LANE_COLORS, PAPER, Color

Array = np.ndarray

#: Frames beside the worst after which a tick of a path has faded to its least.
_FADE = 9
_DISC, _RING, _MASS = 4.0, 9.0, 11.0
#: Shades of ticks by speed, and what is left of the color where nothing moves.
_SHADES, _SLOWEST = 4, 0.35


@dataclass(frozen=True)
class Mark:
    """Lines of one width in pixels, or fills where ``width`` is 0.

    lines: each (n, 3): x and y in pixels from the upper left corner, y down, and nearness as View.project gives it
    (0 where the mark has no place in the world). dim: to be dimmed where it lies behind something; others lie on top.
    """

    lines: tuple[Array, ...]
    width: float
    color: Color
    alpha: float = 1.0
    dim: bool = False


@dataclass(frozen=True)
class Frame:
    """A view onto the shot at scene frame ``number``, and the size (width, height) in pixels of the picture that
    shows it.

    unit: pixels of one unit of the marks' sizes. corner, per_unit: pixel of the lower left corner of the shot's
    picture, and pixels of one of its units (a shorter side of 1080), where it is not the whole picture.
    """

    view: View
    number: int
    size: tuple[int, int]
    unit: float = 1.0
    corner: tuple[float, float] | None = None
    per_unit: float = 0.0

    def pixels(self, places: Array | Sequence[Sequence[float]]) -> Array:
        """World places (n, 3) -> x, y in pixels from the upper left corner and nearness (n, 3); NaN behind the
        camera."""
        x, y, w = self.view.project(np.asarray(places, float).reshape(-1, 3))
        k = self.size[0] / float(self.view.size[0])
        return np.stack([x * k, self.size[1] - y * k, w], axis=1)

    def from_units(self, places: Array) -> Array:
        """Units (n, 2) of the shot's picture, shorter side 1080 and y up -> pixels from the upper left corner, and a
        nearness of 0 (n, 3)."""
        k = self.per_unit or self.size[0] / float(self.view.size[0])
        x, y = self.corner or (0.0, float(self.size[1]))
        out: Array = np.stack([x + places[:, 0] * k, y - places[:, 1] * k, np.zeros(len(places))], axis=1)
        return out


def evidence_marks(note: Note, frame: Frame, camera: bool = True) -> list[Mark]:
    """All marks of a note's evidence in one frame, those drawn first coming first.

    camera: the view is the shot's own camera, in which alone a screen outline has its place.
    """
    return shape_marks(shown(note, frame.number, camera), LANE_COLORS[note.lane], frame)


def shape_marks(shapes: Iterable[Evidence], color: Color, frame: Frame) -> list[Mark]:
    """The marks of shapes, what is found in this color."""
    out: list[Mark] = []
    for shape in sorted(shapes, key=lambda e: e.role == "found"):  # the finding above
        out += keyed(_shape(shape, frame, color if shape.role == "found" else PAPER), frame.unit)
    return out


def shown(note: Note, number: int, camera: bool = True) -> list[Evidence]:
    """The shapes of a note that show at this scene frame."""
    return [
        e
        for e in note.evidence
        if e.frames[0] <= number <= e.frames[1] and (camera or not isinstance(e, ScreenOutline))
    ]


def keyed(marks: list[Mark], unit: float) -> list[Mark]:
    """The marks over their dark edge. Translucent fills, plates and thin lines have none."""
    edges = []
    for mark in marks:
        if mark.color == KEY or mark.width and mark.width < 1.5 * unit - 1e-9:
            continue
        if mark.width:
            edges.append(Mark(mark.lines, mark.width + 2 * unit, KEY, 0.95 * mark.alpha, mark.dim))
        elif mark.alpha == 1.0:
            closed = tuple(np.vstack([line, line[:1]]) for line in mark.lines)
            edges.append(Mark(closed, 2 * unit, KEY, 0.95, mark.dim))
    return edges + marks


def circle(at: Array, radius: float) -> Array:
    """A circle of 32 corners about a place (3,), as pixels and nearness (32, 3)."""
    turns = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    return np.stack([at[0] + radius * np.cos(turns), at[1] + radius * np.sin(turns), np.full(32, at[2])], axis=1)


def rectangle(corner: Array | tuple[float, float], width: float, height: float) -> Array:
    """Four corners (4, 3) of a rectangle that hangs from its upper left corner; nearness 0."""
    x, y = float(corner[0]), float(corner[1])
    return np.array([(x, y, 0), (x + width, y, 0), (x + width, y + height, 0), (x, y + height, 0)], float)


def _shape(shape: Evidence, frame: Frame, color: Color) -> list[Mark]:
    if isinstance(shape, Point):
        return _point(shape, frame, color)
    if isinstance(shape, Polyline):
        return _polyline(shape, frame, color)
    if isinstance(shape, Arrow):
        return _arrow(shape, frame, color)
    if isinstance(shape, Arc):
        return _arc(shape, frame, color)
    if isinstance(shape, Patch):
        return _patch(shape, frame, color)
    if isinstance(shape, ScreenOutline):
        places = frame.from_units(np.array(shape.places, float))
        if shape.closed:
            places = np.vstack([places, places[:1]])
        return [Mark(_pieces(places), (3.0 if shape.role == "found" else 1.5) * frame.unit, color)]
    assert isinstance(shape, Label)  # words are drawn by whoever has a font
    return []


def _point(shape: Point, frame: Frame, color: Color) -> list[Mark]:
    each = len(shape.places) == shape.frames[1] - shape.frames[0] + 1
    at = frame.pixels([shape.places[frame.number - shape.frames[0]] if each else shape.places[0]])[0]
    if not np.isfinite(at).all():
        return []
    if shape.kind == "disc":
        return [Mark((circle(at, _DISC * frame.unit),), 0, color)]
    ring = circle(at, (_RING if shape.kind == "ring" else _MASS) * frame.unit)
    out = [Mark((np.vstack([ring, ring[:1]]),), 2.5 * frame.unit, color)]
    if shape.kind == "mass":  # the draftsman's quartered circle
        n = len(ring) // 4
        out += [
            Mark((np.vstack([at, ring[: n + 1]]),), 0, color),
            Mark((np.vstack([at, ring[2 * n : 3 * n + 1]]),), 0, color),
        ]
    return out


def _polyline(shape: Polyline, frame: Frame, color: Color) -> list[Mark]:
    path, shades = _path(shape.places)
    places = frame.pixels(path)
    width = (2.5 if shape.role == "found" else 1.5) * frame.unit
    lines = _pieces(places)
    out = [Mark(tuple(d for line in lines for d in _dashes(line, frame.unit)) if shape.dashed else lines, width, color)]
    return out + (_ticks(shape, places, shades, frame, color) if shape.ticks and len(places) > 1 else [])


def _ticks(shape: Polyline, places: Array, shades: Array, frame: Frame, color: Color) -> list[Mark]:
    """One tick across the path at each frame, as on a drawn timing chart, fading away from this frame; of the finding
    the darker the slower it is there."""
    along = _slope(places[:, :2])
    length = np.sqrt(along[:, 0] ** 2 + along[:, 1] ** 2)
    seen = np.flatnonzero(np.isfinite(length) & (length > 1e-9))
    half = (5.0 if shape.role == "found" else 2.5) * frame.unit
    across = np.zeros((len(places), 3))
    across[seen, 0] = -along[seen, 1] / length[seen] * half
    across[seen, 1] = along[seen, 0] / length[seen] * half
    away = np.minimum(np.abs(shape.frames[0] + np.arange(len(places)) - frame.number), _FADE)
    ends = np.stack([places - across, places + across], axis=1)
    kind = (away * (_SHADES + 1) + (shades if shape.role == "found" else _SHADES))[seen]
    order = np.argsort(kind, kind="stable")
    kinds, lines = kind[order], list(ends[seen[order]])
    cuts = [0, *(np.flatnonzero(kinds[1:] != kinds[:-1]) + 1).tolist(), len(lines)]
    out = []
    for first, end in zip(cuts[:-1], cuts[1:], strict=True) if lines else ():
        n, shade = divmod(int(kinds[first]), _SHADES + 1)
        alpha = max(0.16, 1 - n / _FADE)
        out.append(Mark(tuple(lines[first:end]), 1.5 * frame.unit, shaded(color, shade), alpha))
    return out


def _slope(path: Array) -> Array:
    """Half the way (N, 2) from the place before to the one after, N >= 2; at the ends the one step there."""
    out = np.empty_like(path)
    out[1:-1] = (path[2:] - path[:-2]) / 2
    out[0], out[-1] = path[1] - path[0], path[-1] - path[-2]
    return out


@lru_cache(maxsize=512)
def _path(places: tuple[Place, ...]) -> tuple[Array, Array]:
    """The places (N, 3) of a shape, which is drawn again and again, and the shades (N,) of their ticks."""
    out = np.asarray(places, float).reshape(-1, 3)
    shades = speed_shades(out)
    for array in (out, shades):
        array.setflags(write=False)
    return out, shades


def speed_shades(path: Array) -> Array:
    """(N,) whole numbers from 0 for standing still to _SHADES for the fastest place of a path (N, 3), one place a
    frame: the way of the two steps at each place, in space and not in the picture."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    speed = np.zeros(len(path))
    speed[:-1] += steps
    speed[1:] += steps
    speed[1:-1] /= 2
    return np.rint(_SHADES * speed / max(float(speed.max(initial=0.0)), 1e-12)).astype(int)


@lru_cache(maxsize=64)
def shaded(color: Color, shade: int) -> Color:
    """The color of a tick: whole where the path is fastest, toward the dark of the edges where it is slow."""
    share = _SLOWEST + (1.0 - _SLOWEST) * shade / _SHADES
    r, g, b = (dark + share * (full - dark) for full, dark in zip(color, KEY, strict=True))
    return r, g, b


def _arrow(shape: Arrow, frame: Frame, color: Color) -> list[Mark]:
    ends = frame.pixels([shape.start, shape.end])
    width, unit = 2.5 if shape.role == "found" else 1.5, frame.unit
    d = ends[1] - ends[0]
    length = float(np.linalg.norm(d[:2]))
    if not np.isfinite(length) or length < 1e-6:
        return []
    head = min(9 * unit, length) / length
    base = ends[1] - d * head
    side = np.array([-d[1], d[0], 0.0]) * head * 0.45
    return [
        Mark((np.stack([ends[0], base]),), width * unit, color),
        Mark((np.stack([ends[1], base + side, base - side]),), 0, color),
    ]


def _arc(shape: Arc, frame: Frame, color: Color) -> list[Mark]:
    places = frame.pixels(_fan(shape))
    if not np.isfinite(places).all():
        return []
    found = shape.role == "found"
    rays = [places[[0, -1]]] if found else [places[[0, -1]], *_dashes(places[[0, 1]], frame.unit)]
    out = [Mark((places,), 0, color, 0.30)] if found else []
    out += [
        Mark((places[1:],), (3.0 if found else 1.5) * frame.unit, color, 1.0 if found else 0.7),
        Mark(tuple(rays), (2.5 if found else 1.5) * frame.unit, color),
    ]
    return out + ([Mark((circle(places[0], _DISC * frame.unit),), 0, color)] if found else [])


@lru_cache(maxsize=256)
def _fan(shape: Arc) -> Array:
    """Center and rim (n, 3) of an arc in the world, a corner every 6 degrees at the least."""
    steps = max(2, int(np.ceil(abs(shape.angle) / 6)) + 1)
    axis, zero, centre = np.array(shape.axis), np.array(shape.zero), np.array(shape.centre)
    turns = exp(axis * np.radians(np.linspace(0, shape.angle, steps))[:, None])
    out: Array = np.vstack([centre, centre + turns @ zero * shape.radius])
    out.setflags(write=False)
    return out


def _patch(shape: Patch, frame: Frame, color: Color) -> list[Mark]:
    outline = frame.pixels(shape.places)
    if len(outline) < 3 or not np.isfinite(outline).all():
        return []
    found = shape.role == "found"
    edge = np.vstack([outline, outline[:1]])
    return [
        Mark((outline,), 0, color, 0.34 if found else 0.10, dim=True),
        Mark((edge,) if found else _dashes(edge, frame.unit), (2.5 if found else 1.5) * frame.unit, color, dim=True),
    ]


def _pieces(places: Array) -> tuple[Array, ...]:
    """The line cut where it goes behind the camera."""
    good = np.isfinite(places).all(axis=1)
    if good.all():
        return (places,) if len(places) else ()
    cuts = np.flatnonzero(np.diff(good.astype(int))) + 1
    return tuple(p for p, g in zip(np.split(places, cuts), np.split(good, cuts), strict=True) if len(g) and g[0])


def _dashes(line: Array, unit: float) -> tuple[Array, ...]:
    """Dashes of 6 pixels with gaps of 4 along a line; a line of over 400 dashes gets longer ones."""
    if len(line) < 2 or not np.isfinite(line).all():
        return ()
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line[:, :2], axis=0), axis=1))])
    pitch = max(10 * unit, run[-1] / 400)
    starts = np.arange(0.0, run[-1], pitch)
    ends = np.minimum(starts + 0.6 * pitch, run[-1])
    at = np.stack([starts, ends], axis=1)
    both = straight(line, run, at.ravel()).reshape(-1, 2, 3)
    first, last = np.searchsorted(run, starts, "right").tolist(), np.searchsorted(run, ends, "left").tolist()
    return tuple(
        dash if a >= b else np.concatenate([dash[:1], line[a:b], dash[1:]])  # with the corners that lie on it
        for dash, a, b in zip(both, first, last, strict=True)
    )
