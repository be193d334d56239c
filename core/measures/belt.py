# SPDX-License-Identifier: GPL-3.0-or-later
"""The ground's own velocity, read from the feet: treadmills and cycles that walk in place."""
from dataclasses import dataclass

import numpy as np

from ..need import NOTHING
from ..numeric.rotation import dot
from ..numeric.spans import spans
from ..shot import SOLE_POINTS, Character
from ..study import Study, measure
from .exposure import Exposure, exposure
from .tread import Tread, tread

Array = np.ndarray

# In leg lengths and in u = sqrt(gravity x leg); measured on the walk with force plates and on clips that travel.
LOW, QUIET, WIDTH = 0.04, 0.06, 0.06
STANDS = 0.1
LEAST_SPEED = 0.1
REST_SHARE = 0.10
# In u, the last step of the way up to the peak: near enough to tell what is no belt by far, and what the speed is.
NEAR_PEAK, AT_PEAK, BY_FAR = 0.003, 1e-5, 1.2
#: Above this spread of its speed a ground is not one belt, and slip against it means nothing.
MOST_SPREAD = 0.15


@dataclass(frozen=True)
class Belt:
    """velocity (3,) m/s of the ground, zero where it rests; spread: standard deviation of the planted feet's speed
    along it over its speed; varies: whether that is too much to measure slip against; over: moving meshes that the
    feet stand on; sentence for the report, '' for ground at rest."""
    velocity: Array
    spread: float
    varies: bool
    over: tuple[str, ...]
    sentence: str

    @property
    def moving(self) -> bool:
        return bool(np.any(self.velocity)) or bool(self.over)


@measure(NOTHING, uses=(tread,))
def belt(study: Study, character: Character) -> Belt:
    """The velocity that low, vertically quiet sole points share, if hardly any of them rests instead."""
    t: Tread = study.of(tread, character)
    zero = np.zeros(3)
    if t.over_moving:
        names = ", ".join(f'"{n}"' for n in t.over_moving)
        return Belt(zero, 0.0, False, t.over_moving, f"feet stand on moving ground: {names}")
    if len(t.dt) < 4 or not t.sides:
        return Belt(zero, 0.0, False, (), "")
    u = t.speed
    e1, e2 = _plane(t.up)
    # written out: numpy's own product of so many rows wakes threads, which spin beside what runs next
    flat = np.stack([dot(t.steps, e) for e in (e1, e2)]) / t.dt[:, None]  # rows of memory: (2, D - 1, S)
    rise = dot(t.steps, t.up) / t.dt[:, None]
    height = np.maximum(t.height[:-1], t.height[1:])
    weight = np.exp(-(height / (LOW * t.leg)) ** 2 - (rise / (QUIET * u)) ** 2)
    # what weighs less is lost to the sums' rounding
    some = np.flatnonzero(weight.ravel() > 1e-16 * weight.max())
    values, heavy = flat.reshape(2, -1)[:, some] / u, weight.ravel()[some]
    at_rest = _density(values, heavy, np.zeros(2))
    # nowhere is denser than all the weight in one place: most feet need no search for what else they might share
    if at_rest >= REST_SHARE * heavy.sum():
        return Belt(zero, 0.0, False, (), "")
    near, cell = _densest(values, heavy)
    peak = _uphill(*near, cell, NEAR_PEAK)
    if at_rest >= BY_FAR * REST_SHARE * _density(*near, peak):
        return Belt(zero, 0.0, False, (), "")
    peak = _uphill(*near, peak, AT_PEAK)
    speed = float(np.linalg.norm(peak)) * u
    if speed < LEAST_SPEED * u or at_rest >= REST_SHARE * _density(*near, peak):
        return Belt(zero, 0.0, False, (), "")
    along = peak / np.linalg.norm(peak)
    # wider than what finds the belt: a foot that rolls on it is as much on it
    low = (height < STANDS * t.leg) & (np.abs(rise) < 2 * QUIET * u)
    spread = _spread(t, np.moveaxis(flat, 0, -1), low, peak * u)
    moved = float(speed) * character.real_size
    heading = _heading(character, study, along[0] * e1 + along[1] * e2)
    varies = spread > MOST_SPREAD
    sentence = f"feet move with a ground going {moved:.2f} m/s {heading}"
    if varies:
        sentence += (
            f", whose speed varies by {100 * spread:.0f} %"
            if np.isfinite(spread)
            else ", which no foot keeps to for long enough to tell its speed"
        )
    return Belt((peak[0] * e1 + peak[1] * e2) * u, spread, varies, (), sentence)


def unjudged(study: Study, character: Character, what: str) -> str:
    """Why feet are not judged against the ground that they are on, '' where they are: poses without motion between
    them, or a ground whose speed varies. what: the end of that sentence, as 'slip against it is not measured'."""
    drawn: Exposure = study.of(exposure, character)
    if drawn.stepped:
        return drawn.sentence
    ground: Belt = study.of(belt, character)
    return f"{ground.sentence}: {what}" if ground.varies else ""


def _plane(up: Array) -> tuple[Array, Array]:
    seed = np.array([1.0, 0, 0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0])
    e1 = seed - seed @ up * up
    e1 /= np.linalg.norm(e1)
    return e1, np.cross(up, e1)


def _density(values: Array, weight: Array, at: Array) -> float:
    """How much of the weight (N,) lies at a place (2,), from values (2, N)."""
    return float((weight * _nearness(values, at)).sum())        # a long product by @ wakes numpy's threads


def _nearness(values: Array, at: Array) -> Array:
    x, y = values[0] - at[0], values[1] - at[1]
    x *= x
    y *= y
    x += y
    x *= -1.0 / WIDTH**2
    return np.asarray(np.exp(x, out=x))


def _densest(values: Array, weight: Array) -> tuple[tuple[Array, Array], Array]:
    """The values (2, M) and weights (M,), of weighted planar values (2, N), that count at their densest place; and that
    place (2,), to a cell of a coarse grid."""
    cell, half = WIDTH / 2, 96                              # the grid holds velocities up to 2.9 u, a sprinter's foot
    index = np.clip(np.rint(values / cell).astype(int) + half, 0, 2 * half)
    corner = index.min(1) - 3
    size = index.max(1) - corner + 4
    index -= corner[:, None]
    grid = np.bincount(index[0] * size[1] + index[1], weight, size[0] * size[1]).reshape(size)
    kernel = np.exp(-(np.arange(-3, 4) * cell / WIDTH) ** 2)
    for _ in range(2):                                     # along one axis, then along the other
        wide = np.zeros((len(grid) + 6, grid.shape[1]))
        wide[3:-3] = grid
        grid = kernel[0] * wide[:len(grid)]
        for s in range(1, 7):
            grid += kernel[s] * wide[s:s + len(grid)]
        grid = grid.T
    place = (np.array(np.unravel_index(int(grid.argmax()), grid.shape)) + corner - half) * cell
    # farther away nothing weighs anything, to the last digit
    close = np.flatnonzero(np.maximum(np.abs(values[0] - place[0]), np.abs(values[1] - place[1])) < 8 * WIDTH)
    return (values[:, close], weight[close]), place


def _uphill(values: Array, weight: Array, place: Array, step: float) -> Array:
    """From a place (2,) to the densest one (2,) nearby of weighted values (2, N), by mean shift, until that goes on by
    less than ``step``."""
    for _ in range(20):
        near = weight * _nearness(values, place)
        total = near.sum()
        if total <= 0:
            break
        new = (values * near).sum(1) / total
        done = np.abs(new - place).max() < step
        place = new
        if done:
            break
    return place


def _spread(t: Tread, flat: Array, standing: Array, ground: Array) -> float:
    """Standard deviation over mean of how fast the stillest low point of each foot goes along with the ground, from
    speeds (D - 1, S, 2) of points that may be standing (D - 1, S) bool."""
    speed = float(np.linalg.norm(ground))
    shares, n = [], len(SOLE_POINTS)
    for at in range(len(t.sides)):
        columns = slice(at * n, at * n + n)
        low = standing[:, columns]
        away = np.where(low, np.linalg.norm(flat[:, columns] - ground, axis=-1), np.inf)
        pick = away.argmin(1)
        share = flat[:, columns][np.arange(len(flat)), pick] @ ground / speed**2
        going = low.any(1) & (share > 0.25) & (share < 2.0)
        for a, b in spans(going):
            if b - a >= 3:
                shares.append(share[a + 1:b])               # its first and last step are landing and lift-off
    if not shares:
        return float("inf")
    together = np.concatenate(shares)
    return float(together.std() / together.mean())


def _heading(character: Character, study: Study, direction: Array) -> str:
    """The direction in the figure's own words, by where its pelvis faces in the middle of the shot."""
    ahead = character.forward
    if character.has("pelvis") and character.axes is not None:
        i = character.index["pelvis"]
        turn = character.axes[:, i] @ character.rest_axes[i].T
        ahead = np.median(turn @ character.forward, axis=0)
    up = character.up
    ahead = ahead - ahead @ up * up
    if np.linalg.norm(ahead) < 1e-6:
        return "sideways"
    ahead = ahead / np.linalg.norm(ahead)
    forward, left = direction @ ahead, direction @ np.cross(up, ahead)
    if abs(forward) >= abs(left):
        return "forward" if forward > 0 else "backward"
    return "to its left" if left > 0 else "to its right"
