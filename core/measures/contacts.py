# SPDX-License-Identifier: GPL-3.0-or-later
"""Which sole points are planted, frame by frame, and the stances that they make.

A point is planted while it is slow against its own swing and near its own floor; neither a fixed speed nor a fixed
height serves, since people walk at many paces and captured floors drift. Measured against force plates: landings and
lift-offs within a frame at 24 and 30 fps.
"""
from dataclasses import dataclass

import numpy as np

from .. import body
from ..need import Need
from ..numeric.rotation import dot, norm
from ..numeric.spans import sliding, spans
from ..shot import SOLE_POINTS, Character
from ..study import Study, measure
from .belt import belt
from .sole import soles
from .tread import Tread, tread

Array = np.ndarray

# Speeds in u = sqrt(gravity x leg), heights in leg lengths, times in seconds.
SWING_WINDOW = 0.6          # a swing this near sets the point's threshold
SWING_HEIGHT = 0.03         # a point this high over its floor swings
SWING_SHARE = 0.2           # threshold over the swing's peak speed
THRESHOLD_BAND = (0.1, 0.55)
NO_SWING = 0.27             # threshold where nothing swings near
GATE = 0.10                 # planted points lie lower than this ...
SURE_HEIGHT, SURE_SPEED = 0.06, 0.6     # ... and somewhere in the run below this height and this share of the threshold
# No point that moves at more than this share of its threshold stands while a faster one of its foot lies lower, by more
# than the sole is known to: of the skin or the card, and guessed.
NOT_STILL, LOWER_KNOWN, LOWER_GUESSED = 0.25, 0.02, 0.04
FILL, DROP = 0.05, 0.07     # shorter gaps are filled, shorter runs dropped
SKATE_GAP, SKATE_RISE = 0.3, 0.015      # a foot that alone carries the body cannot let go for so short without rising
GLIDE_RISE, GLIDE_FAR = 0.01, 0.25      # with the other foot standing: as little rise at every point, and no farther
LIES = 0.01                 # all points of a skating foot this near its lowest lie on the ground with it
SMOOTH_RATE = 30.0          # drawings a second
# A joint this near the floor may carry the body by the flesh around it: from memory of body breadths. Of a leg; of
# parts over the hips of as much of the height as an adult's leg is, where that is more: short legs go with large heads.
CARRIES = {"hand": 0.15, "forearm": 0.15, "shin": 0.15, "pelvis": 0.3, "chest": 0.3, "head": 0.25}
LEG_OF_HEIGHT = 0.49
SINKS = 0.15                # of a leg: feet sink into the floor where the body lies over them


@dataclass(frozen=True)
class Stance:
    """A foot stands from sample ``first`` to sample ``last``, both inside.

    The touch itself lies up to one sample before ``first`` and the release up to one after ``last``: what is known is
    the half-open interval between samples.
    """
    part: str
    first: int
    last: int


@dataclass(frozen=True)
class Contacts:
    """planted: 'foot.L', 'foot.R' -> (F, 7) bool, in the order of shot.SOLE_POINTS; stances: part -> its stances in
    time order.

    drawn: the same as planted on the D drawings of the tread measure, (D, 7). relative (D - 1, S, 3): steps of all
    sole points in meters against the ground that they stand on, belt included. elsewhere part -> (D,) bool: a hand,
    hip, head or the foot's own knee is as low as the floor, as in lying, kneeling, crawling and rolling, so that the
    foot may drag without weight.
    """
    planted: dict[str, Array]
    stances: dict[str, tuple[Stance, ...]]
    drawn: dict[str, Array]
    relative: Array
    elsewhere: dict[str, Array]

    def standing(self, part: str) -> Array:
        """(F,) bool: any point of the foot is planted."""
        some: Array = np.asarray(self.planted[part].any(1))
        return some


@measure(Need.JOINTS, uses=(tread, belt, soles))
def contacts(study: Study, character: Character) -> Contacts:
    """Planted points of both feet. Hands are not judged yet; whether a planted foot bears weight is not known here."""
    t: Tread = study.of(tread, character)
    velocity = study.of(belt, character).velocity
    relative = t.steps - velocity * t.dt[:, None, None] if velocity.any() else t.steps
    source = study.of(soles, character).source
    planted = plant(t, relative, {s: LOWER_GUESSED if source[s] == "guess" else LOWER_KNOWN for s in t.sides})
    count = study.shot.count
    cover = np.clip(np.searchsorted(t.samples, np.arange(count), side="right") - 1, 0, None)
    drawn, full, stances = {}, {}, {}
    for side in t.sides:
        part = f"foot.{side}"
        drawn[part] = planted[:, t.columns(side)]
        full[part] = drawn[part][cover]
        stances[part] = tuple(Stance(part, a, b) for a, b in spans(np.asarray(full[part].any(1))))
    return Contacts(full, stances, drawn, relative,
                    {f"foot.{side}": column for side, column in zip(t.sides, _elsewhere(character, t).T, strict=True)})


def _glides(t: Tread, columns: slice, a: int, b: int) -> bool:
    """Whether no point of a foot rises from where it is at drawing a until b, and it comes to rest near: every step
    lifts something first, however low; what only sinks or rolls down slides."""
    height = t.height[a:b + 1, columns]
    rise = (height.max(0) - height[0]).max()
    travel = np.linalg.norm(t.steps[a:b, columns].sum(0), axis=-1).min()
    return bool(rise < GLIDE_RISE * t.leg and travel < GLIDE_FAR * t.leg)


def _elsewhere(character: Character, t: Tread) -> Array:
    """(D, sides) bool: some part other than a foot is low enough to carry the body; a knee frees its own foot only."""
    out = np.zeros((len(t.samples), len(t.sides)), bool)
    if not t.sides:
        return out
    floors = dot(t.places, t.up) - t.height
    # the floor that each foot itself is over: where it stands, that is the ground under the body too
    floors = np.stack([floors[:, t.columns(side)].min(1) for side in t.sides], 1)
    usual = np.median(floors.min(1))
    floors = floors + np.clip(usual - floors, 0.0, SINKS * t.leg)
    parts = [part for part in character.parts if body.base(part) in CARRIES]
    if not parts:
        return out
    heads = character.head_rows[:, [character.index[part] for part in parts]][..., t.samples]
    large = max(t.leg, LEG_OF_HEIGHT * character.height)
    reach = np.array([CARRIES[body.base(part)] * (t.leg if body.base(part) in ("shin", "pelvis") else large)
                      for part in parts])
    heights = dot(np.moveaxis(heads, 0, -1), t.up)  # numpy's tensordot wakes threads, which spin beside what follows
    for k, side in enumerate(t.sides):
        mine = [body.base(part) != "shin" or body.side(part) == side for part in parts]
        out[:, k] = (heights[mine] < floors[:, k] + reach[mine, None]).any(0)
    return out


def plant(t: Tread, relative: Array, lower: dict[str, float]) -> Array:
    """(D, S) bool: planted points, from steps (D - 1, S, 3) against their ground; lower: side -> of a leg, how far a
    point that does not stand may lie under one that does."""
    d, s = t.height.shape
    if d < 3 or s == 0:
        return np.zeros((d, s), bool)
    speed = frame_speed(t, relative)
    threshold = _threshold(t, speed)
    near = (speed < threshold) & (t.height < GATE * t.leg)
    for side in t.sides:
        columns = t.columns(side)
        loose = np.where(near[:, columns], np.inf, t.over[:, columns]).min(1, keepdims=True)
        lies = t.over[:, columns] < loose + lower[side] * t.leg
        near[:, columns] &= lies | (speed[:, columns] < NOT_STILL * threshold[:, columns])
    sure = near & (speed < SURE_SPEED * threshold) & (t.height < SURE_HEIGHT * t.leg)
    planted = np.zeros((d, s), bool)
    dt = 1.0 / t.rate
    # all points one after the other, one empty drawing between them
    row = d + 1
    close, told = np.zeros((s, row), bool), np.zeros((s, row), int)
    close[:, :d], told[:, :d] = near.T, sure.T
    count = np.concatenate([[0], np.cumsum(told)])
    joined: list[tuple[int, int]] = []
    for a, b in spans(close.ravel()):
        if count[b + 1] == count[a]:
            continue
        if joined and joined[-1][0] // row == a // row and (a - joined[-1][1] - 1) * dt < FILL:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    for a, b in joined:
        column, a, b = a // row, a % row, b % row
        if (b - a + 1) * dt >= DROP or a == 0 or b == d - 1:
            planted[a:b + 1, column] = True
    _bridge(t, planted)
    # Here the rescue of dwelling points belongs, for feet on unknown obstacles: it needs the vertical force.
    return planted


def frame_speed(t: Tread, relative: Array) -> Array:
    """(D, S) m/s: the smaller of the speeds before and after each drawing, so that a stance's first and last one count
    as slow.

    Above 30 drawings a second each is read over 1/30 s: single frames of a capture are mostly noise.
    """
    k = int(min(max(1, round(t.rate / SMOOTH_RATE)), len(relative)))
    if k == 1:
        far = norm(relative) / t.dt[:, None]
    else:
        path = np.concatenate([np.zeros((1, *relative.shape[1:])), np.cumsum(relative, 0)])
        time = np.concatenate([[0.0], np.cumsum(t.dt)])
        far = norm(path[k:] - path[:-k]) / (time[k:] - time[:-k])[:, None]
    out = np.full_like(far, np.inf, shape=(len(far) + k, far.shape[1]))
    out[:-k] = far
    np.minimum(out[k:], far, out=out[k:])
    return out


def _threshold(t: Tread, speed: Array) -> Array:
    """Speeds (D, S) below which each point counts as slow, from the peak of the swing that is near."""
    u = t.speed
    swinging = t.height > SWING_HEIGHT * t.leg
    peak = np.where(swinging, speed, -np.inf)
    last = len(speed) - 1
    for column in np.flatnonzero(swinging[0] | swinging[last]):
        runs = spans(swinging[:, column])
        inner = [end for a, b in runs if a > 0 and b < last for end in (a, b + 1)]
        if inner:                       # a swing cut by the clip's end has not shown its peak: it borrows the others'
            whole = np.sort(np.maximum.reduceat(speed[:, column], inner)[::2])
            usual = float(whole[(len(whole) - 1) // 2] + whole[len(whole) // 2]) / 2       # their median
            for a, b in runs:
                if a == 0 or b == last:
                    peak[a:b + 1, column] = np.maximum(peak[a:b + 1, column], usual)
    near = sliding(peak, max(1, round(SWING_WINDOW * t.rate)), np.maximum)
    low, high = THRESHOLD_BAND
    limit: Array = np.where(np.isfinite(near), np.clip(SWING_SHARE * near, low * u, high * u), NO_SWING * u)
    return limit


def _bridge(t: Tread, planted: Array) -> None:
    """Fills, in place, short gaps of the only standing foot in which it does not rise: a fast skate under load."""
    feet = [t.columns(side) for side in t.sides]
    n = len(SOLE_POINTS)
    standing = [np.asarray(planted[:, c].any(1)) for c in feet]
    heights = [t.height[:, c].min(1) for c in feet]
    for k, columns in enumerate(feet):
        others = np.zeros(len(planted), bool)
        for other in range(len(feet)):
            if other != k:
                others |= standing[other]
        runs = spans(standing[k])
        for (_, a), (b, _) in zip(runs, runs[1:], strict=False):
            gap = slice(a + 1, b)
            if (b - a - 1) / t.rate >= SKATE_GAP:
                continue
            if others[gap].any() and not _glides(t, columns, a, b):
                continue
            if heights[k][gap].max() - max(heights[k][a], heights[k][b]) > SKATE_RISE * t.leg:
                continue
            both = planted[a, columns] & planted[b, columns]
            keep = both if both.any() else np.arange(n) == int(t.height[gap, columns].mean(0).argmin())
            planted[gap, columns] |= keep
            over = t.over[a:b + 1, columns]
            planted[a:b + 1, columns] |= over < over.min(1, keepdims=True) + LIES * t.leg
