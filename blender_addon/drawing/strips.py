# SPDX-License-Identifier: GPL-3.0-or-later
"""The marks of notes in the editors of time: drawn from stored results, built anew only where something changed."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import bpy
import gpu

from ...core.note import Note
from ...core.palette import LANE_COLORS, PAPER
from .. import compat, preferences, session, words
from . import bars
from .brush import Triangles, text_width
from .brush import words as write
from .shown import MANY, Shown, forget, shown

#: From this height on, pixels at ui_scale 1, a Dope Sheet has room for a row for each lane.
_TALL = 90.0
#: The selected note's words above the rows: pixels from the rows, and of their plate.
_ABOVE, _PLATE = 11.0, 18.0
_WORDS = _ABOVE + _PLATE


@dataclass
class _Built:
    """The marks of one region. triangles: on the graphics card, from the first time that they are drawn."""

    key: Any
    table: bars.Table
    picture: bars.Picture
    triangles: Triangles | None = None


#: The table of what each scene shows, by its session_uid.
_tables: dict[int, tuple[Shown, bars.Table]] = {}
_built: dict[int, _Built] = {}


@contextmanager
def strips() -> Iterator[None]:
    """The editors of time show the notes inside the block."""
    spaces = (bpy.types.SpaceDopeSheetEditor, bpy.types.SpaceGraphEditor, bpy.types.SpaceNLA)
    handles: list[tuple[Any, Any]] = []
    if not bpy.app.background:
        handles += [(space, space.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL")) for space in spaces]
        graph = bpy.types.SpaceGraphEditor
        handles.append((graph, graph.draw_handler_add(_draw_band, (), "WINDOW", "PRE_VIEW")))
    try:
        yield
    finally:
        for space, handle in handles:
            space.draw_handler_remove(handle, "WINDOW")
        let_go()


def let_go() -> None:
    """Lets go of all that was built: another file is open, or nothing is drawn any more."""
    _tables.clear()
    _built.clear()
    forget()
    hover(-1, None)


def picture(context: Any) -> tuple[bars.Table, bars.Picture] | None:
    """The marks of the region of this context as it is now; None where it shows none."""
    built = _build(context)
    return None if built is None else (built.table, built.picture)


def taken(context: Any) -> float:
    """Pixels at the lower edge of this context's region that the rows and the selected note's words take."""
    built = _build(context)
    if built is None or not built.picture.top:
        return 0.0
    words_too = _WORDS if built.table.selected >= 0 else 0.0
    return built.picture.top + words_too * (context.preferences.system.ui_scale or 1.0)


def any_marks(context: Any) -> bool:
    """Whether there are marks to show in this context's editor, and it shows them."""
    return bool(_wanted(context) and shown(context).notes)


def _wanted(context: Any) -> bool:
    """Whether this context's editor shows marks, where there are any."""
    return bool(preferences.of(context).show_marks and compat.overlays_shown(context.space_data))


def hovered_note() -> Note | None:
    """The note whose mark lies under the mouse."""
    return _hover[1]


def hover(place: int, note: Note | None) -> bool:
    """Says which mark lies under the mouse, by its place in the table, or -1; whether that is news."""
    global _hover
    news = _hover[0] != place
    _hover = (place, note)
    return news


_hover: tuple[int, Note | None] = (-1, None)


def _draw() -> None:
    context = bpy.context
    built = _build(context)
    if built is None:
        return
    if built.triangles is None:
        built.triangles = Triangles(*built.picture.arrays())
    gpu.state.blend_set("ALPHA")
    built.triangles.draw()
    for letter in built.picture.letters:
        write(letter.text, letter.x - text_width(letter.text, letter.size) / 2, letter.y, letter.size, letter.color)
    if built.table.selected >= 0 and built.picture.top:
        _caption(context, built)
    gpu.state.blend_set("NONE")


def _build(context: Any) -> _Built | None:
    region, space = context.region, context.space_data
    if region is None or space is None or not _wanted(context):
        return None
    now = shown(context)
    if not now.notes:
        return None
    table = _table(now, context.scene.session_uid)
    axis, free = axis_of(context), _free(context)
    key = (now, axis, _hover[0], free)
    place = region.as_pointer()
    built = _built.get(place)
    if built is None or built.key != key:
        made = bars.rows(table, axis, _hover[0]) if free else bars.rail(table, axis, _hover[0])
        if made.top and made.top + _WORDS * axis.unit > free:  # the rows would lie over keys
            made = bars.rail(table, axis, _hover[0])
        if len(_built) > 64:  # regions that are gone
            _built.clear()
        built = _built[place] = _Built(key, table, made)
    return built


def _table(now: Shown, scene: int) -> bars.Table:
    kept = _tables.get(scene)
    if kept is None or kept[0] is not now:
        if len(_tables) > MANY:  # scenes that are gone
            _tables.clear()
        kept = _tables[scene] = (now, bars.table(now.notes, now.selected))
        hover(-1, None)
    return kept[1]


def axis_of(context: Any) -> bars.Axis:
    """The time axis of this context's region."""
    region, view = context.region, context.region.view2d
    first = view.region_to_view(0, 0)[0]
    last = view.region_to_view(region.width, 0)[0]
    scale = region.width / (last - first) if last != first else 1.0
    return bars.Axis(scale, -first * scale, region.width, region.height, context.preferences.system.ui_scale or 1.0)


def _free(context: Any) -> int:
    """Pixels at the foot of a Dope Sheet, under its last channel, that rows of marks may take; 0 in other editors, in a
    low one, and where Blender does not tell."""
    space, region = context.space_data, context.region
    unit = context.preferences.system.ui_scale or 1.0
    if space.type != "DOPESHEET_EDITOR" or space.mode == "TIMELINE" or region.height < _TALL * unit:
        return 0
    return min(max(compat.channels_end(region) or 0, 0), region.height)


def _caption(context: Any, built: _Built) -> None:
    """The selected note in words above the rows of a Dope Sheet."""
    axis, note = axis_of(context), built.table.notes[built.table.selected]
    u = axis.unit
    text = f"{note.worst}  {words.named(note, session.several(context.scene))}  {words.amount(note)}"
    wide = text_width(text, 11 * u) + 20 * u
    foot = built.picture.top + _ABOVE * u
    x = min(max(float(axis.x(note.worst)) + 8 * u, 4 * u), max(axis.width - wide - 4 * u, 4 * u))
    plate = bars.plate(x, foot, wide, _PLATE * u, LANE_COLORS[note.lane], u)
    Triangles(*plate.arrays()).draw()
    write(text, x + 10 * u, foot + 5 * u, 11 * u, (*PAPER, 1.0))


def _draw_band() -> None:
    """Under the curves: where the selected note lies."""
    context: Any = bpy.context
    if not preferences.of(context).show_marks:
        return
    selected = shown(context).selected
    if selected is None:
        return
    view, region = context.region.view2d, context.region
    bottom, top = view.region_to_view(0, 0)[1], view.region_to_view(0, region.height)[1]
    per_pixel = (view.region_to_view(region.width, 0)[0] - view.region_to_view(0, 0)[0]) / max(region.width, 1)
    made = bars.band(selected, bottom, top, per_pixel * (context.preferences.system.ui_scale or 1.0))
    gpu.state.blend_set("ALPHA")
    Triangles(*made.arrays()).draw()
    gpu.state.blend_set("NONE")
