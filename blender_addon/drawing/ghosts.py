# SPDX-License-Identifier: GPL-3.0-or-later
"""What was measured for the selected note, drawn over the 3D viewport from stored results; other notes are pins.

The marks are core's, projected by the region's own view. What lies on surfaces is drawn against the depth buffer,
dimmed where the body hides it; the rest lies on top. Nothing is sampled: it follows the playhead from what is stored.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import bpy
import gpu
import numpy as np
from mathutils import Matrix

from ...core.amounts import frames
from ...core.check import LANES
from ...core.evidence import Evidence
from ...core.marks import Mark, circle, evidence_marks, rectangle, shape_marks
from ...core.marks import shown as shapes_shown
from ...core.note import Note
from ...core.palette import KEY, LANE_COLORS, PAPER, PLATE_IN_VIEW
from ...core.placing import Pins, anchor, beside, pins
from .. import limit_arcs, preferences, session, words
from .brush import Lines, Triangles, batches, text_width
from .brush import words as write
from .shown import shown
from .views import Seen, seen

Array = np.ndarray
Batches = list[Triangles | Lines]
Room = tuple[float, float, float, float]

#: Frames outside its span over which a note's evidence fades, and to what.
_AWAY, _LEAST = 12, 0.25
#: How much shows through a body of what lies behind it.
_BEHIND = 0.40
_STALE = 0.5
#: How strong the pins of other notes are; their discs' corners (n, 3) in pixels about the place, and the triangles of
#: them.
_PIN_ALPHA = 0.85
_RING = circle(np.zeros(3), 3.5)[::2]
_FAN = np.array([[0, k, k + 1] for k in range(1, len(_RING) - 1)])


@dataclass(frozen=True)
class Row:
    """A line of words in the region: its foot's pixel (y up), size in points, color."""

    text: str
    x: float
    y: float
    size: float
    color: tuple[float, float, float, float]


@dataclass(frozen=True)
class Drawn:
    """All of one region: hidden and open are drawn in depth, top and plate on the picture."""

    key: Any
    hidden: Batches
    open: Batches
    top: Batches
    rows: tuple[Row, ...]


_drawn: dict[int, Drawn] = {}
#: What the pins of the last redraw stand for, and their colors (n, 4), for a view that moves.
_pinned: tuple[Any, Pins, Array] = (None, pins((), 0), np.empty((0, 4)))


@contextmanager
def ghosts() -> Iterator[None]:
    """The 3D viewports show the selected note inside the block."""
    handles = []
    if not bpy.app.background:
        space = bpy.types.SpaceView3D
        handles = [
            space.draw_handler_add(_in_depth, (), "WINDOW", "POST_VIEW"),
            space.draw_handler_add(_on_top, (), "WINDOW", "POST_PIXEL"),
        ]
    try:
        yield
    finally:
        for handle in handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
        let_go()


def let_go() -> None:
    """Lets go of all that was built: another file is open, or nothing is drawn any more."""
    global _pinned
    _drawn.clear()
    _pinned = (None, pins((), 0), np.empty((0, 4)))


def alpha_at(note: Note, frame: int) -> float:
    """How strongly a note's evidence shows at a scene frame: whole inside its span, fading outside."""
    away = max(note.start - frame, frame - note.end, 0)
    return 1.0 - (1.0 - _LEAST) * min(away, _AWAY) / _AWAY


def _in_depth() -> None:
    made = _make(bpy.context)
    if made is None or not (made.open or made.hidden):
        return
    matrix: Any = gpu.matrix  # the stubs say that these return nothing
    with matrix.push_pop(), matrix.push_pop_projection():
        gpu.matrix.load_matrix(Matrix.Identity(4))
        gpu.matrix.load_projection_matrix(Matrix.Identity(4))
        gpu.state.blend_set("ALPHA")
        gpu.state.depth_mask_set(False)
        for test, parts in (("GREATER", made.hidden), ("LESS_EQUAL", made.open)):
            gpu.state.depth_test_set(test)
            for part in parts:
                part.draw()
        gpu.state.depth_test_set("NONE")
        gpu.state.blend_set("NONE")


def _on_top() -> None:
    made = _make(bpy.context)
    if made is None:
        return
    gpu.state.blend_set("ALPHA")
    for part in made.top:
        part.draw()
    for row in made.rows:
        write(row.text, row.x, row.y, row.size, row.color)
    gpu.state.blend_set("NONE")


def _make(context: Any) -> Drawn | None:
    """The batches of this region, kept as long as nothing changes."""
    space, region_3d = context.space_data, context.region_data
    if space is None or region_3d is None or not space.overlay.show_overlays:
        return None
    set_up = preferences.of(context)
    now = shown(context)
    arcs = limit_arcs.shapes(context.scene)
    if not arcs and not (now.notes and set_up.show_evidence):
        return None
    frame, region = context.scene.frame_current, context.region
    room = _room(context)
    stale = now.selected is not None and session.stale(context.scene, now.selected)
    key = (
        now,
        id(arcs),
        set_up.show_evidence,
        frame,
        stale,
        set_up.show_others,
        room,
        tuple(v for row in region_3d.perspective_matrix for v in row),
        (region.width, region.height),
        region_3d.view_perspective,
        context.preferences.system.ui_scale,
    )
    place = region.as_pointer()
    kept = _drawn.get(place)
    if kept is None or kept.key != key:
        if len(_drawn) > 32:  # regions that are gone
            _drawn.clear()
        others = now.notes if set_up.show_others and set_up.show_evidence else ()
        note = now.selected if set_up.show_evidence and not arcs else None  # the arcs speak alone
        kept = _drawn[place] = _draw(context, key, others, note, stale, room)
        if arcs:
            kept.top.extend(_arcs(context, arcs))
    return kept


def _draw(context: Any, key: Any, others: tuple[Note, ...], note: Note | None, stale: bool, room: Room) -> Drawn:
    frame = context.scene.frame_current
    view = seen(context, frame)
    fade = _STALE if stale else 1.0
    top = _pins(key[0], others, note, view, frame, fade)
    hidden: Batches = []
    open_: Batches = []
    rows: tuple[Row, ...] = ()
    if note is not None:
        near = replace(view.frame, number=_nearest(note, frame, view.camera))
        fade *= alpha_at(note, frame)
        marks = evidence_marks(note, near, view.camera)
        deep = [m for m in marks if m.dim]
        open_ = batches(deep, view.depth, fade)
        hidden = batches([m for m in deep if m.color != KEY], view.depth, fade * _BEHIND)
        plate, rows = _plate(note, near, marks, view, room)
        top += batches([m for m in marks if not m.dim], view.flat, fade) + batches(plate, view.flat)
    return Drawn(key, hidden, open_, top, rows)


def _arcs(context: Any, arcs: tuple[Evidence, ...]) -> Batches:
    """The arcs of the part whose limits are edited."""
    view = seen(context, context.scene.frame_current)
    return batches(shape_marks(arcs, LANE_COLORS["Limbs"], view.frame), view.flat)


def _nearest(note: Note, frame: int, camera: bool) -> int:
    """The frame of the note's span whose evidence is shown: this one, the nearest inside, else the worst."""
    inside = min(max(frame, note.start), note.end)
    return inside if shapes_shown(note, inside, camera) else note.worst


def _pins(
    now: Any, others: tuple[Note, ...], note: Note | None, view: Seen, frame: int, fade: float
) -> Batches:
    """A disc for each other note whose frames hold this one, over its dark edge."""
    global _pinned
    key = (now, note, frame, view.camera)
    if _pinned[0] != key:
        there = [other for other in others if other is not note and other.start <= frame <= other.end]
        tints = np.array([(*LANE_COLORS[other.lane], _PIN_ALPHA) for other in there]).reshape(-1, 4)
        _pinned = (key, pins(there, frame, view.camera), tints)
    _, places, colors = _pinned
    at = places.pixels(view.frame)
    good = np.isfinite(at).all(axis=1)
    if not good.any():
        return []
    rings = at[good][:, None] + _RING * (view.frame.unit, view.frame.unit, 0.0)  # (n, corners, 3)
    n, corners = rings.shape[:2]
    flat = view.flat(rings.reshape(-1, 3)).reshape(n, corners, 3)
    edges = np.stack([flat, np.roll(flat, -1, axis=1)], axis=2).reshape(-1, 3)
    fans = flat[:, _FAN].reshape(-1, 3)
    dark = np.broadcast_to((*KEY, 0.95 * _PIN_ALPHA * fade), (len(edges), 4))
    tints = np.repeat(colors[good] * (1.0, 1.0, 1.0, fade), _FAN.size, axis=0)
    return [Lines(edges, dark, 2 * view.frame.unit), Triangles(fans, tints)]


def _plate(note: Note, frame: Any, marks: list[Mark], view: Seen, room: Room) -> tuple[list[Mark], tuple[Row, ...]]:
    """The note's plate beside its evidence: chip, what and how much, and against what. It says what the evidence's own
    labels would."""
    u, lane = frame.unit, LANE_COLORS[note.lane]
    height = frame.size[1]
    first = f"{words.title(note)}  {words.amount(note)}"
    second = f"{note.severity.value} from {words.limit(note)}, {frames(note.start, note.end)}"
    wide = max(text_width(first, 13 * u), text_width(second, 11 * u)) + 42 * u
    tall = 42 * u
    at = anchor(note, marks)
    corner = beside(marks, at, (wide, tall), room, u)
    out: list[Mark] = []
    if at is not None:
        near = np.clip(at, corner, corner + (wide, tall))
        line = np.zeros((2, 3))
        line[:, :2] = near, at
        out += [Mark((line,), 3 * u, KEY, 0.6), Mark((line,), 1.2 * u, PAPER, 0.85)]
    out += [
        Mark((rectangle(corner, wide, tall),), 0, KEY, PLATE_IN_VIEW),
        Mark((rectangle(corner, 3 * u, tall),), 0, lane),
        Mark((rectangle(corner + (9 * u, 7 * u), 13 * u, 13 * u),), 0, lane),
    ]
    x, y = corner
    letter = LANES[note.lane]
    rows = [
        Row(letter, x + 15.5 * u - text_width(letter, 11 * u) / 2, height - y - 17.5 * u, 11 * u, (*KEY, 1.0)),
        Row(first, x + 30 * u, height - y - 18 * u, 13 * u, (*PAPER, 1.0)),
        Row(second, x + 30 * u, height - y - 35 * u, 11 * u, (*PAPER, 0.80)),
    ]
    return out, tuple(rows)


def _room(context: Any) -> Room:
    """Left, top, right, bottom of the part of the region that no other region covers, pixels, y down."""
    region = context.region
    left, top, right, bottom = 0.0, 0.0, float(region.width), float(region.height)
    if not context.preferences.system.use_region_overlap:
        return left, top, right, bottom
    for other in context.area.regions:
        if other.type in ("UI", "TOOLS") and other.width > 1:
            if other.alignment == "LEFT":
                left = max(left, float(other.x + other.width - region.x))
            elif other.alignment == "RIGHT":
                right = min(right, float(other.x - region.x))
        elif other.type in ("HEADER", "TOOL_HEADER", "ASSET_SHELF") and other.height > 1:
            if other.alignment == "TOP":
                top = max(top, float(region.y + region.height - other.y))
            elif other.alignment == "BOTTOM":
                bottom = min(bottom, float(region.y + region.height - other.y - other.height))
    return left, top, right, bottom
