# SPDX-License-Identifier: GPL-3.0-or-later
"""Sentences in a panel: Blender's labels do not wrap, so they are cut into lines that fit the region."""

import re
from typing import Any

import blf

#: Points of the interface's font in panels.
_POINTS = 11
#: A word, or a number with its unit, which stay on one line.
_WITH_UNIT = re.compile(r"\S*\d (?:cm|mm|m|m/s|%|g|s|kg|degrees|frames)(?![\w/])\S*|\S+")


def lines(text: str, width: float, scale: float) -> list[str]:
    """The text in lines no wider than ``width`` pixels, at least one word each."""
    blf.size(0, _POINTS * scale)
    out: list[str] = []
    for word in _WITH_UNIT.findall(text):
        longer = f"{out[-1]} {word}" if out else word
        if out and blf.dimensions(0, longer)[0] <= width:
            out[-1] = longer
        else:
            out.append(word)
    return out or [""]


def sentence(layout: Any, context: Any, text: str, icon: str = "NONE", inset: int = 62) -> None:
    """Draws a sentence, with an icon before its first line where one is given. inset: pixels of the region not to be
    used."""
    scale = context.preferences.system.ui_scale or 1.0
    width = context.region.width - (inset + (30 if icon != "NONE" else 0)) * scale
    row = layout.row(align=False)
    if icon != "NONE":
        side = row.column()
        side.scale_y = 0.82
        side.label(text="", icon=icon)
    column = row.column(align=True)
    column.scale_y = 0.82
    for line in lines(text, width, scale):
        column.label(text=line, translate=False)
