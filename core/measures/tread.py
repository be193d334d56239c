# SPDX-License-Identifier: GPL-3.0-or-later
"""How the soles move, drawing by drawing: heights over their own floor and velocities against the ground under them."""
from dataclasses import dataclass

import numpy as np

from ..need import Need
from ..numeric.rotation import dot
from ..numeric.spans import sliding
from ..shot import GRAVITY, SOLE_POINTS, Character
from ..study import Study, measure
from .exposure import exposure
from .sole import soles
from .underfoot import underfoot

Array = np.ndarray

#: A point's floor is its least height within this many seconds ...
FLOOR_WINDOW = 0.6
#: ... held to known ground plus or minus this share of the leg.
FLOOR_BAND = 0.1


@dataclass(frozen=True)
class Tread:
    """D drawings of the feet's S = 7 points each, the sides stacked along S.

    sides; samples (D,) sample index of each drawing; dt (D - 1,) s between drawings; rate drawings a second;
    places (D, S, 3) world meters; over (D, S) m over the ground where a mesh tells it, else over any one level; height
    (D, S) m over the point's own floor; steps (D - 1, S, 3) m moved against
    meshes known to move; normal (D, S, 3) of the ground; leg m; speed m/s, the yardstick u = sqrt(gravity x leg).
    over_moving: names of moving meshes under the feet.
    """
    sides: tuple[str, ...]
    samples: Array
    dt: Array
    rate: float
    places: Array
    over: Array
    height: Array
    steps: Array
    normal: Array
    up: Array
    leg: float
    speed: float
    over_moving: tuple[str, ...]

    def columns(self, side: str) -> slice:
        """The columns of one foot in the stacked arrays."""
        n = len(SOLE_POINTS)
        at = self.sides.index(side) * n
        return slice(at, at + n)


@measure(Need.JOINTS, uses=(soles, underfoot, exposure))
def tread(study: Study, character: Character) -> Tread:
    """Reads the soles on the character's own drawings, so that motion on twos is not taken for standing still."""
    shot = study.shot
    taken = study.of(exposure, character).drawings
    sole = study.of(soles, character).points
    ground = study.of(underfoot, character)
    sides = tuple(sole)
    leg = character.leg_length
    gravity = float(np.linalg.norm(shot.gravity)) or GRAVITY
    dt = np.diff(taken) / shot.rate
    rate = 1.0 / float(np.median(dt)) if len(dt) else shot.rate
    if not sides:
        empty = np.zeros((len(taken), 0, 3))
        none = empty[..., 0]
        return Tread(sides, taken, dt, rate, empty, none, none, empty[:-1], empty, ground.up, leg, 1.0, ())
    # the drawings last in memory: sums and searches then run along rows
    places = np.concatenate([sole[s].T[..., taken] for s in sides], 1).T
    base = np.concatenate([_known(ground.height[s][taken]).T for s in sides]).T
    raw = dot(places, ground.up) - np.nan_to_num(base)
    floor = sliding(raw, max(1, round(FLOOR_WINDOW * rate)), np.minimum)
    known = ~np.isnan(base)
    floor = np.where(known, np.clip(floor, -FLOOR_BAND * leg, FLOOR_BAND * leg), floor)
    steps = np.diff(places, axis=0)
    if ground.moving:
        drift = np.concatenate([ground.motion[s] for s in sides], 1)
        total = np.concatenate([np.zeros((1, *drift.shape[1:])), np.cumsum(drift, 0)])
        steps = steps - np.diff(total[taken], axis=0)
    normal = np.concatenate([np.repeat(ground.normal[s][taken][:, None], len(SOLE_POINTS), 1) for s in sides], 1)
    # the yardstick is that of the figure's real size: a mouse drawn as large as a man still moves like what it stands
    # for
    speed = float(np.sqrt(gravity * leg / character.real_size))
    return Tread(sides, taken, dt, rate, places, raw, raw - floor, steps, normal, ground.up, leg, speed, ground.moving)


def _known(height: Array) -> Array:
    """Ground heights (D, S) with gaps filled from the nearest known drawing; all NaN stays NaN."""
    out = height.copy()
    lacking = np.isnan(height)
    for column in np.flatnonzero(lacking.any(0)):
        good = np.flatnonzero(~lacking[:, column])
        if len(good):
            at = np.clip(np.searchsorted(good, np.arange(len(height))), 0, len(good) - 1)
            before = np.clip(at - 1, 0, None)
            rows = np.arange(len(height))
            nearer = np.abs(good[before] - rows) < np.abs(good[at] - rows)
            out[:, column] = height[good[np.where(nearer, before, at)], column]
    return out
