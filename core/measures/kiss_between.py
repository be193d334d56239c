# SPDX-License-Identifier: GPL-3.0-or-later
"""Kisses in the frames between two looks, worked out from the looks before and after: no mesh is read for them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..kiss import Kiss
from ..shot import Array
from .kisses import moved, same

#: U by which two ways to work a gap out may differ: through the look before and through the look after.
BEND = 0.3
#: U by which a gap may bow away from the straight line between two looks. A stop within a frame bows so much more.
BOW = 0.25


def told(
    found: Mapping[int, Sequence[Kiss]], passed: Array, run: Array, step: int, largest: float
) -> dict[int, tuple[Kiss, ...]]:
    """Sample of a pair's first look -> its kisses up to the next one, where they need no look; in order.

    found: sample -> what every ``step``-th sample showed; passed (F,): where the pair may kiss; run (F,): the run of
    the camera, over whose end nothing goes on; largest: as in ``between``.
    """
    out = {}
    for sample in sorted(found):
        ends = slice(sample, sample + step + 1)
        if found[sample] and passed[ends].all() and not np.ptp(run[ends]):
            around = range(sample - step, sample + 2 * step + 1, step)
            inside = [0 <= s < len(run) and run[s] == run[sample] for s in around]
            some = between([found.get(s, ()) if i else () for s, i in zip(around, inside, strict=True)], largest)
            if some:
                out[sample] = some
    return out


def between(looks: Sequence[Sequence[Kiss]], largest: float) -> tuple[Kiss, ...]:
    """The kisses of a pair at all samples between the second and the third of four looks in a row, in order; () where
    they must be looked at: where a kiss does not go on, bends quickly, or may open further than ``largest`` U.

    looks: the kisses found at each, all looks equally far apart; () for one that was not taken, or that found none.
    The gap follows the cubic through four looks, or the parabola through three; its place and middles go straight.
    What is worked out has no pieces of outline.
    """
    before, now, later, after = looks
    ends = same(now, later)
    step = later[0].sample - now[0].sample if ends else 0
    if ends is None or step < 2:
        return ()
    found: list[Kiss] = []
    for start, end in zip(now, ends, strict=True):
        gaps = _gaps(_beside(start, before), start.gap, end.gap, _beside(end, after), np.arange(1, step) / step)
        if gaps is None or np.abs(gaps).max() > largest:
            return ()
        found += [_part_of_the_way(start, end, n, float(gap)) for n, gap in enumerate(gaps.tolist(), 1)]
    return tuple(sorted(found, key=lambda k: k.sample))


def _beside(kiss: Kiss, others: Sequence[Kiss]) -> float:
    """The gap of what is the same place at the next look; NaN where there is none."""
    follower = same([kiss], [min(others, key=lambda other: moved(kiss, other))]) if others else None
    return follower[0].gap if follower else np.nan


def _gaps(before: float, start: float, end: float, after: float, t: Array) -> Array | None:
    """Gaps at shares t (n,) of the way from start to end; None where the looks do not tell them."""
    line = start + (end - start) * t
    # parabolas through the ends and the look on one side
    early = line - (before - 2.0 * start + end) * t * (1.0 - t) / 2.0
    late = line - (start - 2.0 * end + after) * t * (1.0 - t) / 2.0
    if np.isnan(before) and np.isnan(after):
        return None
    if np.isnan(before) or np.isnan(after):
        out: Array = late if np.isnan(before) else early
    elif np.abs(early - late).max() > BEND:
        return None
    else:
        out = (early * (2.0 - t) + late * (1.0 + t)) / 3.0
    return out if np.abs(out - line).max() <= BOW else None


def _part_of_the_way(start: Kiss, end: Kiss, n: int, gap: float) -> Kiss:
    t = n / (end.sample - start.sample)

    def mixed(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
        return a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t

    return replace(
        start if 2 * n <= end.sample - start.sample else end,
        sample=start.sample + n,
        gap=gap,
        place=mixed(start.place, end.place),
        depth_a=start.depth_a + (end.depth_a - start.depth_a) * t,
        depth_b=start.depth_b + (end.depth_b - start.depth_b) * t,
        pieces_a=None,
        pieces_b=None,
        centers=(mixed(start.centers[0], end.centers[0]), mixed(start.centers[1], end.centers[1])),
    )
