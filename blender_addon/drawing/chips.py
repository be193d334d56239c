# SPDX-License-Identifier: GPL-3.0-or-later
"""The chip of a lane and a severity: a small plate with the lane's letter, as an icon for Blender's lists.

Low is hollow, medium full, high full with a lower edge that comes to a point. Drawn from pixels, so no graphics card
is asked.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import bpy.utils.previews
import numpy as np

from ...core.check import LANES
from ...core.palette import KEY, LANE_COLORS

SIZE = 32
_EDGE, _FRAME = 2, 3  # pixels of the dark line round the chip, and of a hollow chip's frame
_LETTERS = {  # 5 x 7, top row first
    "L": ("1....", "1....", "1....", "1....", "1....", "1....", "11111"),
    "C": (".1111", "1....", "1....", "1....", "1....", "1....", ".1111"),
    "B": ("1111.", "1...1", "1...1", "1111.", "1...1", "1...1", "1111."),
    "S": (".1111", "1....", "1....", ".111.", "....1", "....1", "1111."),
    "A": (".111.", "1...1", "1...1", "11111", "1...1", "1...1", "1...1"),
    "T": ("11111", "..1..", "..1..", "..1..", "..1..", "..1..", "..1.."),
    "P": ("1111.", "1...1", "1...1", "1111.", "1....", "1....", "1...."),
    "H": ("1...1", "1...1", "1...1", "11111", "1...1", "1...1", "1...1"),
}

_previews: Any = None


@contextmanager
def chip_icons() -> Iterator[None]:
    """Blender has the chips as icons inside the block."""
    global _previews
    _previews = bpy.utils.previews.new()
    try:
        yield
    finally:
        bpy.utils.previews.remove(_previews)
        _previews = None


def icon(lane: str, severity: str) -> int:
    """The icon of a chip; lane '' gives the plain sign of the severity. 0 where icons cannot be drawn."""
    if _previews is None:
        return 0
    name = f"{lane}/{severity}"
    if name not in _previews:
        chip = _previews.new(name)
        chip.icon_size = (SIZE, SIZE)
        chip.icon_pixels_float = pixels(lane, severity)[::-1].ravel()
    return int(_previews[name].icon_id)


def pixels(lane: str, severity: str) -> np.ndarray:
    """The chip as (SIZE, SIZE, 4) straight RGBA, top row first."""
    color = np.array((*(LANE_COLORS[lane] if lane else (0.925, 0.918, 0.902)), 1.0), np.float32)
    dark = np.array((*KEY, 1.0), np.float32)
    chip = np.zeros((SIZE, SIZE, 4), np.float32)
    chip[_shape(severity, 1)] = dark
    inside = _shape(severity, 1 + _EDGE)
    chip[inside] = color
    ink = dark
    if severity == "low":
        chip[_shape(severity, 1 + _EDGE + _FRAME)] = dark
        ink = color
    if lane:
        _write(chip, LANES[lane], ink, top=6 if severity == "low" else 5)
    return chip


def _shape(severity: str, inset: int) -> np.ndarray:
    """Which pixels the chip covers, so many in from its outline."""
    y, x = np.mgrid[0:SIZE, 0:SIZE]
    low, high = inset + 1, SIZE - 2 - inset
    if severity != "high":
        return np.asarray((x >= low) & (x <= high) & (y >= low) & (y <= high))
    middle = (SIZE - 1) / 2
    bottom = SIZE - 1 - inset * 1.4 - 0.6 * np.abs(x - middle)
    return np.asarray((x >= low) & (x <= high) & (y >= low) & (y <= bottom))


def _write(chip: np.ndarray, letter: str, ink: np.ndarray, top: int) -> None:
    """The letter three times its 5 x 7 grid wide and tall, less where the chip is hollow."""
    scale = 3 if top == 5 else 2.6
    left = (SIZE - 5 * scale) / 2
    for row, line in enumerate(_LETTERS[letter]):
        for column, bit in enumerate(line):
            if bit == "1":
                y, x = round(top + row * scale), round(left + column * scale)
                chip[y : round(top + (row + 1) * scale), x : round(left + (column + 1) * scale)] = ink
