# SPDX-License-Identifier: GPL-3.0-or-later
"""A sampled figure played at other times of its own: holds, delays and catch-ups of motion that is known."""

from dataclasses import replace

import numpy as np

from ..numeric.rotation import exp, log, relative
from ..shot import Character

Array = np.ndarray


def retimed(character: Character, at: Array) -> Character:
    """The figure with sample i showing what it did at sample ``at[i]`` (N,), between samples along straight lines and
    even turns; its keys are left out, which tell other times."""

    def places(rows: Array) -> Array:
        low, share = _between(at, len(rows))
        shape = (-1, *[1] * (rows.ndim - 1))
        return np.asarray(rows[low] + (rows[low + 1] - rows[low]) * share.reshape(shape))

    axes = None if character.axes is None else turns_at(character.axes, at)
    twist = None if character.twist_axes is None else turns_at(character.twist_axes, at)
    goals = tuple(
        replace(g, place=places(g.place), reach=places(g.reach), influence=places(g.influence)) for g in character.goals
    )
    return replace(
        character, heads=places(character.heads), tails=places(character.tails), axes=axes, twist_axes=twist,
        scale=places(character.scale), goals=goals, keys=None,
    )


def turns_at(rotations: Array, at: Array) -> Array:
    """Rotations (F, ..., 3, 3) at the samples ``at`` (N,), which may lie between; NaN stays."""
    low, share = _between(at, len(rotations))
    whole = share == 0
    out = rotations[low].copy()
    if not whole.all():
        a, b = rotations[low[~whole]], rotations[low[~whole] + 1]
        shape = (-1, *[1] * (rotations.ndim - 2))
        out[~whole] = a @ exp(log(relative(a, b)) * share[~whole].reshape(shape))
    return out


def _between(at: Array, count: int) -> tuple[Array, Array]:
    low = np.clip(np.floor(at).astype(int), 0, max(count - 2, 0))
    return low, at - low
