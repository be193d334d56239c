# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures the accepted faults of balance and flight anew: by plain differences of the motion at 24 frames a second,
with both soles as a base wherever they are, and by women's table of masses. With the checks it shares the body map,
the shape of the soles and the shares of the masses.
"""

import numpy as np
from plumbline.core.shot import GRAVITY, Shot
from plumbline.core.testing import corpus
from plumbline.core.testing.corpus import Accepted
from plumbline.core.testing.plant_flights import centers
from plumbline.core.testing.pushes import demanded

Array = np.ndarray

#: Frames in a row for which the push lies outside; of a leg, the least that counts.
LASTS, LEAST_PUSH = 3, 0.10
#: A flight is none of gravity's by so much of it, pushed sideways by so much, or so far off any parabola, of a leg.
LEAST_PULL, LEAST_ASIDE, LEAST_STRAY = 0.22, 0.25, 0.08


def shot_of(row: Accepted) -> Shot:
    """A registry-carried clip at 24 frames a second, keyed anew where the row says so."""
    return corpus.proxy(row.clip) if row.keyed else corpus.at_24(row.clip)


def push(row: Accepted, shot: Shot) -> tuple[bool, str]:
    """Whether the push that the motion demands lies outside of both soles through the row's frames."""
    leg = shot.characters[0].leg_length
    outside = demanded(shot, "LR", 0.0)[_rows(row, shot)]
    held = [outside[k:k + LASTS].min() for k in range(len(outside) - LASTS + 1)]
    most = max(held, default=0.0)
    return most >= LEAST_PUSH * leg, (f"the push that it demands lies {100 * most:.0f} cm outside of both soles, "
                                      f"wherever they are, for {LASTS} frames")


def flight(row: Accepted, shot: Shot) -> tuple[bool, str]:
    """Whether the center of mass draws no parabola of gravity's through the row's frames."""
    c = shot.characters[0]
    rows = _rows(row, shot)
    t = shot.times[rows]
    path = centers(c)[rows]
    fit = np.polyfit(t, path, 2)
    stray = float(np.linalg.norm(path - np.stack([np.polyval(fit[:, k], t) for k in range(3)], 1), axis=1).max())
    pull, aside = -2 * fit[0, 2] / GRAVITY, 2 * float(np.hypot(*fit[0, :2])) / GRAVITY
    low = float(min(c.heads[rows][..., 2].min(1).max(), c.tails[rows][..., 2].min(1).max()))
    wrong = abs(1 - pull) >= LEAST_PULL or aside >= LEAST_ASIDE or stray >= LEAST_STRAY * c.leg_length
    return wrong and low > 0.1 * c.leg_length, (
        f"its lowest joint up to {100 * low:.0f} cm over the floor, it falls by {pull:.2f} g, is pushed aside by "
        f"{aside:.2f} g and strays {100 * stray:.0f} cm from a parabola")


def _rows(row: Accepted, shot: Shot) -> Array:
    first, last = (((f or 1) - 1) / row.rate * shot.rate for f in (row.first, row.last))
    return np.arange(int(np.ceil(first)), min(int(last), shot.count - 1) + 1)


BY_CHECK = {"airborne": flight, "undriven-move": push, "off-balance": push}
