# SPDX-License-Identifier: GPL-3.0-or-later
"""How lengths and frames read in sentences, so that a note, its remedy and whatever names them tell them alike."""


def length(meters: float) -> str:
    """'4 mm', '3.5 cm', '12 cm'."""
    if abs(meters) < 0.00995:
        return f"{meters * 1000:.0f} mm"
    return f"{meters * 100:.1f} cm" if abs(meters) < 0.0995 else f"{meters * 100:.0f} cm"


def frames(first: int, last: int) -> str:
    """'frame 58', 'frames 143 to 155'."""
    return f"frame {first}" if first == last else f"frames {first} to {last}"
