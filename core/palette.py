# SPDX-License-Identifier: GPL-3.0-or-later
"""The colors of marks, sRGB, 0 to 1. The lane's color is what the shot does; PAPER is what it is held against; KEY is
the
dark line round every mark. The lanes keep apart under three color deficiencies and from Blender's own colors."""

Color = tuple[float, float, float]


def _hex(word: str) -> Color:
    return int(word[0:2], 16) / 255, int(word[2:4], 16) / 255, int(word[4:6], 16) / 255


LANE_COLORS: dict[str, Color] = {
    "Limbs": _hex("a680e4"),
    "Contacts": _hex("b28931"),
    "Balance": _hex("44dfc1"),
    "Spacing": _hex("d2f18a"),
    "Arcs": _hex("ffd2fe"),
    "Staging": _hex("95b4d3"),
    "Props": _hex("66988e"),
    "Hits": _hex("f59474"),
}
KEY: Color = _hex("0e1013")
PAPER: Color = _hex("eceae6")

#: How opaque a plate of KEY is in a 3D view, which mixes colors in linear light (seen in 5.2): what is read well on .80
#: where sRGB values are mixed is not read there over white.
PLATE_IN_VIEW = 0.92
