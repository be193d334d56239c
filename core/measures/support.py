# SPDX-License-Identifier: GPL-3.0-or-later
"""The base of support beside the pressure point that the motion needs: how far outside it is, and how far it is held
there.

A ground can only push within the hull of what stands on it. Where the motion needs a push from outside of it, nothing
makes that motion; where it does so while the body hardly accelerates, the body leans and does not fall. Single frames
mean nothing, since derivatives mix neighbors; what is held for 0.12 s does.
"""
from dataclasses import dataclass

import numpy as np

from ..frozen import freeze
from ..need import NOTHING
from ..numeric.between import straight
from ..numeric.hull import smallest_norm
from ..numeric.spans import held, samples, sliding, spans
from ..shot import Character
from ..study import Study, measure
from .belt import belt
from .contacts import Contacts, contacts
from .footfalls import Footfalls, N, footfalls
from .mass_motion import MassMotion, mass_motion
from .supports import Supports, level_plane, supports
from .tread import Tread, tread
from .underbody import Underbody, underbody
from .underfoot import underfoot

Array = np.ndarray

MIXED = 0.10        # s to each side that the derivatives mix: what stands there supports here
HOLD = 0.12         # s
#: Of how far the pressure point lies from under the center of mass: that part of it is known to about 20 %.
UNSURE = 0.2
#: Of the leg: a foot so low may bear, though it slides or skims the ground.
LOW = 0.04
#: s, of the leg: a hand that stays within so little for so long, the trunk going so far, holds on to something.
GRIPS_FOR, STILL, TRUNK = 0.5, 0.03, 0.06
NEAR_FLIGHT = 0.1   # s around a flight in which no pressure point is told


@dataclass(frozen=True)
class Base:
    """F samples, in meters. corners (F, M, 2) and there (F, M) bool: the base's points in the level plane's own two
    directions, plane (3, 2); point, center (F, 2): the pressure point and the center of mass there; level (F,): the
    height of the plane; away (F, 2) from the point to the nearest place of the base, zero inside; known (F,) bool: both
    are told; excess (F,): how far outside, less what is unsure, NaN where not known; held (F,): the excess that is held
    for HOLD, -inf where none is."""
    corners: Array
    there: Array
    plane: Array
    point: Array
    center: Array
    level: Array
    away: Array
    known: Array
    excess: Array
    held: Array

    def __post_init__(self) -> None:
        freeze(self, "corners", (None, None, 2))
        f = len(self.corners)
        for name in ("point", "center", "away"):
            freeze(self, name, (f, 2))
        for name in ("level", "excess", "held"):
            freeze(self, name, (f,))

    def place(self, level: Array, rows: Array) -> Array:
        """World places (..., 3) of points (..., 2) of the plane at samples ``rows``, seen from above."""
        up = np.cross(self.plane[:, 0], self.plane[:, 1])
        return np.asarray(level @ self.plane.T + self.level[rows][..., None] * up)


@measure(NOTHING, uses=(tread, belt, contacts, footfalls, underbody, underfoot, supports, mass_motion))
def base(study: Study, character: Character) -> Base | None:
    """The base of support and the pressure point; None where the mass is not known."""
    moved: MassMotion | None = study.of(mass_motion, character)
    if moved is None:
        return None
    t: Tread = study.of(tread, character)
    fallen: Footfalls = study.of(footfalls, character)
    under: Underbody = study.of(underbody, character)
    found: Supports = study.of(supports, character)
    shot = study.shot
    plane = level_plane(moved.up)
    ground = study.of(belt, character).velocity
    feet = len(fallen.falls)
    cover = np.clip(np.searchsorted(t.samples, np.arange(shot.count), side="right") - 1, 0, None)
    sole = fallen.planted & np.repeat(found.touches[:feet], N, 0).T[t.samples]      # without what only hangs
    sole = (sole | _may(study, character, t, under.level))[cover]
    others = found.touches[feet:].T | _grips(character, under, shot.rate)
    down = np.concatenate([sole, others], 1)
    places = np.concatenate([_sampled(t, shot.count), under.places], 1) @ plane
    there, corners = _near(down, places, samples(MIXED, shot.rate), ground @ plane / shot.rate)
    point, center = found.point @ plane, moved.fitted @ plane
    aloft = sliding(np.asarray(~found.touches.any(0)), samples(NEAR_FLIGHT, shot.rate), np.logical_or)
    rests = _elsewhere(study, character, cover)
    known = np.asarray(np.isfinite(point[:, 0]) & moved.bears & ~aloft & ~rests & there.any(1))
    off = corners - np.nan_to_num(point)[:, None]
    outside = known & ~_surrounded(off, there)
    away = np.zeros((shot.count, 2))
    away[outside] = smallest_norm(off[outside], there[outside])
    excess = np.where(known, np.hypot(*away.T) - UNSURE * np.hypot(*(point - center).T), np.nan)
    return Base(corners, there, plane, point, center, under.level, away, known,
                excess, _held(excess, HOLD * shot.rate))


def _elsewhere(study: Study, character: Character, cover: Array) -> Array:
    """(F,) bool: hands, knees, hips or head are low enough to carry, wherever they do."""
    touch: Contacts = study.of(contacts, character)
    low = np.zeros(len(cover), bool)
    for rests in touch.elsewhere.values():
        if len(rests):
            low |= rests[cover]
    return low


def _grips(character: Character, under: Underbody, rate: float) -> Array:
    """(F, C) bool: hands that stay where they are in the world for GRIPS_FOR while the trunk moves: they hold, lean or
    push on something, whether a mesh shows it or not. A hand of a figure that is all still tells nothing."""
    out = np.zeros(under.over.shape, bool)
    trunk = next((p for p in ("chest", "spine", "pelvis") if character.has(p)), None)
    if trunk is None:
        return out
    leg, path = character.leg_length, character.head(trunk)
    reach = samples(GRIPS_FOR / 2, rate)
    for k, name in enumerate(under.names):
        if not name.startswith("hand"):
            continue
        place = under.places[:, k]
        near = np.linalg.norm(sliding(place, reach) - sliding(place, reach, np.minimum), axis=1) < STILL * leg
        for first, last in spans(near):
            a, b = max(0, first - reach), min(len(near), last + reach + 1)
            if np.linalg.norm(np.ptp(path[a:b], axis=0)) > TRUNK * leg:
                out[a:b, k] = True
    return out


def _may(study: Study, character: Character, t: Tread, level: Array) -> Array:
    """(D, S) bool: sole points so low that they may carry, though the foot slides or skims the ground and counts as no
    contact. level (F,) m: where the feet stand; it tells what is low where no mesh does."""
    known = study.of(underfoot, character).height
    meshes = np.concatenate([np.isfinite(known[s][t.samples]) for s in t.sides], 1) if t.sides else t.height > 0
    return np.asarray(np.where(meshes, t.over, t.places @ t.up - level[t.samples, None]) < LOW * t.leg)


def _sampled(t: Tread, count: int) -> Array:
    """(F, S, 3) m: places of the sole points at every sample, straight between drawings."""
    if len(t.samples) == count:
        return t.places
    return straight(t.places, t.samples, np.arange(count))


def _surrounded(off: Array, there: Array) -> Array:
    """(F,) bool: some of the points (F, M, 2) lie to every side of the origin, so that their hull holds it."""
    angle = np.where(there, np.arctan2(off[..., 1], off[..., 0]), np.nan)
    angle.sort(1)                                                            # those that are not there come last
    first, last = angle[:, :1], np.nanmax(np.where(there.any(1, keepdims=True), angle, 0.0), axis=1)
    with np.errstate(invalid="ignore"):
        gap = np.fmax(np.fmax.reduce(np.diff(angle, axis=1), axis=1), first[:, 0] + 2 * np.pi - last)
        return np.asarray(gap < np.pi)


def _held(excess: Array, steps: float) -> Array:
    """(F,) the excess that is held over so many steps from sample to sample, fractions allowed: between what one step
    fewer and one more hold, so that every rate is judged alike."""
    whole = int(steps + 1e-9)
    part = max(steps - whole, 0.0)
    fewer = held(excess, whole + 1)
    return fewer if part < 1e-9 else np.asarray((1 - part) * fewer + part * held(excess, whole + 2))


def _near(down: Array, places: Array, reach: int, drift: Array) -> tuple[Array, Array]:
    """(F, M) bool and (F, M, 2): points that stand within ``reach`` samples of each, where they stand nearest in time,
    carried by a ground that drifts (2,) m a sample."""
    f = len(down)
    there, corners = down.copy(), places.copy()
    for k in range(1, reach + 1):
        for sign in (-1, 1):
            rows = np.arange(max(0, -sign * k), min(f, f - sign * k))
            new = ~there[rows] & down[rows + sign * k]
            corners[rows] = np.where(new[..., None], places[rows + sign * k] - sign * k * drift, corners[rows])
            there[rows] |= new
    return there, corners
