# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart at the bottom of the Dope Sheet, under its last channel: drawn from the charts of the last check,
built anew only where something changed."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import bpy
import gpu
import numpy as np

from ...core.palette import KEY
from .. import charting, compat, settings
from . import bars, chart_rows
from .brush import Triangles, text_width
from .brush import words as write
from .strips import axis_of, taken


@dataclass(frozen=True)
class _Built:
    """What one region shows: the chart, the words with the left ends of their feet, and the ground of the names. of:
    what it was made from, kept so that no other takes its id."""

    of: Any
    key: Any
    chart: Triangles
    ground: Triangles
    words: tuple[tuple[bars.Letter, float], ...]


#: By a region's pointer.
_built: dict[int, _Built] = {}
#: Pixels from the region's edge to the parts' names, and of the ground behind them.
_MARGIN = 6.0


@contextmanager
def chart_strip() -> Iterator[None]:
    """Dope Sheets show the timing chart inside the block, where it is switched on."""
    handle = None
    space = bpy.types.SpaceDopeSheetEditor
    if not bpy.app.background:
        handle = space.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL")
    try:
        yield
    finally:
        if handle is not None:
            space.draw_handler_remove(handle, "WINDOW")
        let_go()
        charting.stop()


def let_go() -> None:
    """Lets go of all that was built."""
    _built.clear()


def _draw() -> None:
    context = bpy.context
    space, region = context.space_data, context.region
    if space is None or region is None or not settings.state(context).show_chart:
        return
    if getattr(space, "mode", "") == "TIMELINE" or not compat.overlays_shown(space):
        return
    chart, free = charting.chart_of(context), compat.channels_end(region)
    if chart is None or free is None:
        return
    axis = axis_of(context)
    below = taken(context)
    place, key = region.as_pointer(), (id(chart), axis, free, below)
    built = _built.get(place)
    if built is None or built.key != key:
        if len(_built) > 64:  # regions that are gone
            _built.clear()
        built = _built[place] = _build(chart, key, chart_rows.rows(chart, axis, free, below), axis.unit)
    gpu.state.blend_set("ALPHA")
    built.chart.draw()
    for letter, x in built.words:
        if letter.x:
            write(letter.text, x, letter.y, letter.size, letter.color)
    built.ground.draw()
    for letter, x in built.words:
        if not letter.x:
            write(letter.text, x, letter.y, letter.size, letter.color)
    gpu.state.blend_set("NONE")


def _build(of: Any, key: Any, picture: bars.Picture, u: float) -> _Built:
    ground, words = bars.Picture(), []
    for letter in picture.letters:
        wide = text_width(letter.text, letter.size)
        words.append((letter, letter.x - wide / 2 if letter.x else _MARGIN * u))
        if not letter.x:
            box = (2 * u, letter.y - 2 * u, 2 * _MARGIN * u + wide, letter.y + 10 * u)
            ground.rectangles(np.array([box]), (*KEY, 0.80))
    return _Built(of, key, Triangles(*picture.arrays()), Triangles(*ground.arrays()), tuple(words))
