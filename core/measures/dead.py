# SPDX-License-Identifier: GPL-3.0-or-later
"""Spans in which a head, arm or hand keeps its turn against what carries it, and what was not animated yet."""

import numpy as np

from .. import body
from ..numeric.rotation import log, norm
from ..numeric.spans import Span, spans
from ..shot import Character
from .local import seen

Array = np.ndarray

#: part -> what it is judged against. A head that a keyed neck carries is no fault, nor an arm that a clavicle moves.
AGAINST = {"head": "chest"} | {
    f"{part}.{s}": above
    for s in body.SIDES
    for part, above in (("upper_arm", "chest"), ("forearm", f"upper_arm.{s}"), ("hand", f"forearm.{s}"))
}
#: Degrees a second under which a part is dead.
DEAD = 2.0
#: Dead over more than this share of the shot, or never turned at all: not animated yet, which is no fault.
NOT_YET = 0.6


def dead_spans(character: Character, part: str, drawings: Array, times: Array) -> list[Span]:
    """The spans, as indices into ``drawings`` (D,), both ends inside, in which the part turns against what AGAINST
    names by less than DEAD degrees a second; times (F,) seconds. None where turns or parts are missing."""
    above = AGAINST[part]
    if not character.has(part, above) or character.axes_rows is None or len(drawings) < 3:
        return []
    axes = character.axes_rows
    local = seen(axes[:, :, character.index[above]], axes[:, :, character.index[part]])[..., drawings]
    steps = log(seen(local[..., :-1], local[..., 1:]).transpose(2, 0, 1))
    dead = np.degrees(norm(steps)) / np.diff(times[drawings]) < DEAD
    return [(a, b + 1) for a, b in spans(np.asarray(dead))] if dead.any() else []


def not_yet(found: list[Span], at: Array) -> bool:
    """Whether dead spans, on drawings at these seconds (D,), make up so much of the shot that the part was not animated
    yet."""
    return bool(found) and sum(float(at[b] - at[a]) for a, b in found) > NOT_YET * float(at[-1] - at[0])
