# SPDX-License-Identifier: GPL-3.0-or-later
"""A small font of strokes, our own, for labels on pictures: no font file is at hand everywhere that pictures are drawn.

Each glyph lies on a grid 4 wide; y runs down, capitals from 0 to the baseline at 6, descenders to 8. A stroke is a
row of
points, each two digits x and y; strokes are parted by ';'. A stroke of one point twice is a dot.
"""

import numpy as np

Array = np.ndarray

#: Grid units from the top of capitals to the baseline, between glyphs, and of a space.
CAPITAL, GAP, SPACE = 6.0, 1.7, 2.6

_GLYPHS = {
    "A": "06 02 10 30 42 46;03 43",
    "B": "06 00 30 41 42 33 03;33 44 45 36 06",
    "C": "41 30 10 01 05 16 36 45",
    "D": "00 06 26 44 42 20 00",
    "E": "40 00 06 46;03 33",
    "F": "40 00 06;03 33",
    "G": "41 30 10 01 05 16 36 45 43 23",
    "H": "00 06;40 46;03 43",
    "I": "10 30;20 26;16 36",
    "J": "40 45 36 16 05",
    "K": "00 06;40 03 46",
    "L": "00 06 46",
    "M": "06 00 23 40 46",
    "N": "06 00 46 40",
    "O": "10 30 41 45 36 16 05 01 10",
    "P": "06 00 30 41 42 33 03",
    "Q": "10 30 41 45 36 16 05 01 10;24 46",
    "R": "06 00 30 41 42 33 03;23 46",
    "S": "41 30 10 01 02 13 33 44 45 36 16 05",
    "T": "00 40;20 26",
    "U": "00 05 16 36 45 40",
    "V": "00 26 40",
    "W": "00 16 23 36 40",
    "X": "00 46;40 06",
    "Y": "00 23 40;23 26",
    "Z": "00 40 06 46",
    "a": "12 32 43 46;44 14 05 16 36 45",
    "b": "00 06;03 12 32 43 45 36 16 05",
    "c": "43 32 12 03 05 16 36 45",
    "d": "40 46;43 32 12 03 05 16 36 45",
    "e": "04 44 43 32 12 03 05 16 36 45",
    "f": "40 30 21 26;12 32",
    "g": "42 47 38 18;43 32 12 03 05 16 36 45",
    "h": "00 06;03 12 32 43 46",
    "i": "22 26;20 20",
    "j": "32 37 28 18;30 30",
    "k": "00 06;32 04 36",
    "l": "20 26",
    "m": "02 06;03 12 23 26;23 32 43 46",
    "n": "02 06;03 12 32 43 46",
    "o": "12 32 43 45 36 16 05 03 12",
    "p": "02 08;03 12 32 43 45 36 16 05",
    "q": "42 48;43 32 12 03 05 16 36 45",
    "r": "02 06;03 12 32",
    "s": "43 32 12 03 14 34 45 36 16 05",
    "t": "10 15 26 36;02 32",
    "u": "02 05 16 36 45;42 46",
    "v": "02 26 42",
    "w": "02 16 24 36 42",
    "x": "02 46;42 06",
    "y": "02 26;42 18",
    "z": "02 42 06 46",
    "0": "10 30 41 45 36 16 05 01 10;15 31",
    "1": "11 20 26;16 36",
    "2": "01 10 30 41 42 06 46",
    "3": "01 10 30 41 42 33 23;33 44 45 36 16 05",
    "4": "36 30 04 44",
    "5": "40 00 03 12 32 43 45 36 16 05",
    "6": "30 10 01 05 16 36 45 44 33 13 04",
    "7": "00 40 16",
    "8": "13 02 01 10 30 41 42 33 13 04 05 16 36 45 44 33",
    "9": "43 33 13 02 01 10 30 41 45 36 16",
    ".": "26 26",
    ",": "26 17",
    ":": "23 23;26 26",
    ";": "23 23;26 17",
    "!": "20 24;26 26",
    "?": "01 10 30 41 42 24;26 26",
    "-": "13 33",
    "+": "03 43;21 25",
    "/": "06 40",
    "(": "30 12 14 36",
    ")": "10 32 34 16",
    "%": "10 00 01 11 10;06 40;35 45 46 36 35",
    "'": "20 22",
    '"': "10 12;30 32",
    "=": "02 42;04 44",
    "<": "40 03 46",
    ">": "00 43 06",
    "_": "07 47",
    "[": "30 10 16 36",
    "]": "10 30 36 16",
    "*": "11 35;15 31;03 43",
    "#": "10 16;30 36;02 42;04 44",
    "|": "20 26",
    "\\": "00 46",
    "~": "04 13 34 43",
    "&": "46 11 20 31 04 05 16 36 44",
    "\u00b0": "10 30 32 12 10",
    "\u2192": "03 43;21 43 25",
}
#: What is drawn for a character that the font lacks: an empty box.
_BOX = "00 40 46 06 00"


def strokes(text: str, size: float) -> tuple[list[Array], float]:
    """The strokes (n, 2) of a line of text whose capitals are ``size`` high, its upper left corner at (0, 0), and its
    width."""
    unit = size / CAPITAL
    out: list[Array] = []
    x = 0.0
    for character in text:
        if character == " ":
            x += SPACE
            continue
        glyph = [
            np.array([(int(p[0]), int(p[1])) for p in stroke.split()], float)
            for stroke in _GLYPHS.get(character, _BOX).split(";")
        ]
        left = min(float(s[:, 0].min()) for s in glyph)
        right = max(float(s[:, 0].max()) for s in glyph)
        out += [(s + (x - left, 0.0)) * unit for s in glyph]
        x += right - left + GAP
    return out, max(0.0, x - GAP) * unit
