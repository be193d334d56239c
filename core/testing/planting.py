# SPDX-License-Identifier: GPL-3.0-or-later
"""All kinds of planted faults, one after the other."""

from collections.abc import Callable, Iterator, Sequence

from .plant_bends import bends
from .plant_blocks import blocks
from .plant_carries import carries
from .plant_edges import edges
from .plant_flights import caught, floats, posts, throws
from .plant_freezes import freezes
from .plant_gaps import gaps
from .plant_locks import locks
from .plant_marches import marches
from .plant_paths import kinks, shoves, wiggles
from .plant_peels import late_heels
from .plant_pulls import pulls
from .plant_skates import skates
from .plant_snaps import snaps
from .plant_stops import stops
from .plant_tilts import tilts
from .plants import Case, Clean

KINDS = (
    bends, pulls, skates, marches, gaps, edges, late_heels, floats, throws, posts, caught, carries, tilts, stops,
    freezes, locks, blocks, snaps, wiggles, kinks, shoves,
)
#: Kinds that a clip with faults of its own takes as well: they look for themselves that none is near.
APART = (floats, posts)


def cases(clean: Clean, families: Sequence[str] = (),
          kinds: Sequence[Callable[[Clean], Iterator[Case]]] = KINDS) -> Iterator[Case]:
    """Every case that can be planted in a clean shot, of the named kinds ('bends') or of all where none is named."""
    for kind in kinds:
        if not families or kind.__name__ in families:
            yield from kind(clean)
