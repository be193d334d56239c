# SPDX-License-Identifier: GPL-3.0-or-later
"""Arrays to the screen: triangles, wide lines and words, with Blender's own shaders."""

from collections.abc import Iterable, Sequence
from typing import Any

import blf
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader

from ...core.marks import Mark

Array = np.ndarray


class Triangles:
    """Triangles on the graphics card: corners (3 m, 3) and colors (3 m, 4), made once and drawn often."""

    def __init__(self, corners: Array, colors: Array) -> None:
        self._shader = gpu.shader.from_builtin("FLAT_COLOR")
        self._batch: Any = None
        if len(corners):
            content = _content(corners, colors)
            self._batch = batch_for_shader(self._shader, "TRIS", content)

    def draw(self) -> None:
        if self._batch is not None:
            self._batch.draw(self._shader)


class Lines:
    """Segments of one width on the graphics card: ends (2 n, 3) and colors (2 n, 4)."""

    def __init__(self, ends: Array, colors: Array, width: float) -> None:
        self._shader = gpu.shader.from_builtin("POLYLINE_FLAT_COLOR")
        self._width = width
        self._batch: Any = None
        if len(ends):
            content = _content(ends, colors)
            self._batch = batch_for_shader(self._shader, "LINES", content)

    def draw(self) -> None:
        if self._batch is None:
            return
        self._shader.bind()
        state: Any = gpu.state  # the stubs say that it returns nothing
        self._shader.uniform_float("viewportSize", state.viewport_get()[2:])
        self._shader.uniform_float("lineWidth", self._width)
        self._batch.draw(self._shader)


def _content(places: Array, colors: Array) -> Any:
    """What a batch is made of: single precision, in one piece."""
    return {"pos": np.ascontiguousarray(places, np.float32), "color": np.ascontiguousarray(colors, np.float32)}


def batches(marks: Iterable[Mark], places: Any, fade: float = 1.0) -> list[Triangles | Lines]:
    """Marks as batches, in their order, neighbors of one kind in one batch.

    places: from a mark's corners (n, 3), pixels and nearness, to what is drawn (n, 3). fade: a factor on alphas.
    """
    drawn, pieces = [], []
    for mark in marks:
        mine = [np.repeat(p, 2, axis=0)[1:-1] if mark.width else _fan(p) for p in mark.lines]
        mine = [p for p in mine if len(p)]
        if mine:
            drawn.append((mark.width, (*mark.color, mark.alpha * fade), sum(len(p) for p in mine)))
            pieces += mine
    if not drawn:
        return []
    corners = np.asarray(places(np.concatenate(pieces)), np.float32)
    colors = np.repeat(np.array([color for _, color, _ in drawn], np.float32), [n for *_, n in drawn], axis=0)
    out: list[Triangles | Lines] = []
    first = last = 0
    for k, (width, _, count) in enumerate(drawn):
        last += count
        if k + 1 == len(drawn) or drawn[k + 1][0] != width:
            flat, tint = corners[first:last], colors[first:last]
            out.append(Lines(flat, tint, width) if width else Triangles(flat, tint))
            first = last
    return out


def text_width(text: str, size: float) -> float:
    blf.size(0, size)
    return float(blf.dimensions(0, text)[0])


def words(text: str, x: float, y: float, size: float, color: Sequence[float]) -> None:
    """Writes a line with its foot at y pixels above the region's lower edge, in Blender's own font."""
    blf.size(0, size)
    blf.color(0, *color)
    blf.position(0, x, y, 0)
    blf.draw(0, text)


def _fan(outline: Array) -> Array:
    """Triangles (3 m, 3) of an outline (n, 3) that is seen whole from its first corner."""
    n = len(outline)
    if n < 3:
        return np.empty((0, 3))
    index = np.stack([np.zeros(n - 2, int), np.arange(1, n - 1), np.arange(2, n)], axis=1).ravel()
    out: Array = outline[index]
    return out
