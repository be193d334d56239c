# SPDX-License-Identifier: GPL-3.0-or-later
"""How each part is turned as its nearest mapped parent sees it, for all parts and samples at once."""

from collections.abc import Sequence

import numpy as np

from .. import body
from ..need import Need
from ..numeric.rotation import relative
from ..shot import Character
from ..study import Study, measure

Array = np.ndarray

#: Values of one component that are worked on at once: nine such rows and their products fit in a cache of 1 MB.
NEAR_VALUES = 1 << 13


def parent_on(character: Character, part: str) -> str | None:
    """The nearest mapped part above, or None."""
    above = body.parent(part)
    while above is not None and not character.has(above):
        above = body.parent(above)
    return above


def local_axes(character: Character, part: str) -> Array:
    """The part's axes (F, 3, 3) as its nearest mapped parent sees them; the pelvis's in the world."""
    assert character.axes is not None
    own = character.axes[:, character.index[part]]
    above = parent_on(character, part)
    return np.asarray(own if above is None else relative(character.axes[:, character.index[above]], own))


@measure(Need.ROTATIONS)
def local_turns(study: Study, character: Character) -> Array | None:
    """(3, 3, P, F), row and column first so that products over all parts and samples run on long rows: the axes of
    each part, by the character's order, in its nearest mapped parent; the pelvis's in the world. None without axes."""
    if character.axes_rows is None:
        return None
    own = character.axes_rows
    above = [parent_on(character, part) for part in character.parts]
    rows = [k for k, part in enumerate(above) if part is not None]
    out = np.empty(own.shape)
    for k in set(range(len(above))) - set(rows):
        out[:, :, k] = own[:, :, k]
    for some in handfuls(rows, own.shape[3]):
        over = [character.index[part] for part in (above[k] for k in some) if part is not None]
        out[:, :, some] = seen(own[:, :, over], own[:, :, some])
    return out


def handfuls(rows: Sequence[int], samples: int) -> list[list[int]]:
    """The rows in groups, so that one component of a group over all samples stays near to the processor."""
    size = max(1, NEAR_VALUES // max(1, samples))
    return [list(rows[at:at + size]) for at in range(0, len(rows), size)]


def seen(a: Array, b: Array) -> Array:
    """a^T b of stacks (3, 3, ...)."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    part = np.empty(out.shape[2:])
    for i in range(3):
        for j in range(3):
            total = out[i, j]
            np.multiply(a[0, i], b[0, j], out=total)
            for k in (1, 2):
                np.multiply(a[k, i], b[k, j], out=part)
                total += part
    return out
