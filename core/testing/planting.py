# SPDX-License-Identifier: GPL-3.0-or-later
"""All kinds of planted faults, one after the other."""

from collections.abc import Iterator

from .plant_bends import bends
from .plant_freezes import freezes
from .plant_gaps import gaps
from .plant_marches import marches
from .plant_paths import kinks, shoves, wiggles
from .plant_pulls import pulls
from .plant_skates import skates
from .plant_snaps import snaps
from .plant_stops import stops
from .plants import Case, Clean

KINDS = (bends, pulls, skates, marches, gaps, stops, freezes, snaps, wiggles, kinks, shoves)


def cases(clean: Clean) -> Iterator[Case]:
    """Every case that can be planted in a clean shot."""
    for kind in KINDS:
        yield from kind(clean)
