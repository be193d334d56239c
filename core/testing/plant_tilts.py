# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted tilts: a figure that has come to rest stands on one foot, and its whole body tilts about that foot's ankle,
sideways or forward, stays so and comes back, with nothing that holds it.

A clip is played until it is slowest on both feet, slows down there and rests in that pose; the weight goes over one
foot within a second and the other is lifted, which people do. The floor is a mesh, and nothing is under the hips and
the lifted foot: where no mesh tells what lies there, who leans and is still may sit or stand on it. How far the body
then tilts is worked out from what must be demanded: the pressure point 1.3, 2 and 3 times the medium limit outside of
the sole, by plain differences of the motion (pushes.demanded).
"""

import zlib
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from .. import body
from ..measures.outside import LIMIT, STANDS
from ..measures.sole import carried, sole_of
from ..measures.support import HOLD
from ..note import Result
from ..numeric.hull import smallest_norm
from ..numeric.rotation import exp, unit
from ..numeric.spans import held, samples, sliding
from ..shot import GRAVITY, Character, Shot, Surface
from . import edit
from .plant_carries import TIMES
from .plant_flights import centers
from .plants import SIZES, Case, Clean, min_jerk, prepared
from .pushes import demanded
from .replay import replayed

Array = np.ndarray

BEFORE, SLOWS = 0.7, 0.8                # s of the clip before it slows down; s within which it does
#: From and to, s after it rests: the weight goes over one foot, the other foot is lifted, the body tilts, comes back;
#: and how long all lasts.
SHIFTS, LIFTS, TILTS, BACK, WHOLE = (0.1, 1.2), (1.1, 1.7), (1.8, 3.2), (3.8, 5.2), 5.5
#: Of the leg: how high and how far back (tried one after the other) the other foot is lifted, and how much the hips
#: sink as the weight goes over one leg. Back, since a foot that is held still where the body leans may stand on what
#: the scene does not show.
LIFTED, BEHIND, SINKS = 0.22, (0.3, 0.15, 0.0), 0.06
SLOW = 0.12                             # of sqrt(gravity x leg): no faster a clip is asked to stop
STEEPEST = 45.0                         # degrees
STRAIGHT = 0.85                         # hip to ankle of a leg that stands, of its length


def tilts(clean: Clean) -> Iterator[Case]:
    """All planted tilts of a clean shot: to the side of the standing foot, and forward."""
    first = zlib.crc32(clean.shot.name.encode()) % 2
    for side in ("LR", "RL")[first]:
        host = rested(clean, side)
        if host is not None:
            break
    if host is None:
        return
    balanced = _balanced(host, side)
    if balanced is None:
        return
    known = host.review(balanced)
    for kind in ("aside", "forward"):
        for size in SIZES:
            case = _case(host, balanced, side, kind, size, known)
            if case is not None:
                yield case


def rested(clean: Clean, side: str) -> Clean | None:
    """The clip up to where it is slowest on both feet, that of the side flat, slowing down and then still for WHOLE s;
    None where it is never slow, or the review finds a fault of balance in that."""
    shot, c = clean.shot, clean.character
    if not all(c.has(f"foot.{s}") and f"foot.{s}" in clean.touch.planted for s in "LR"):
        return None
    at = _slowest(clean, side)
    if at is None:
        return None
    times = _coming_to_rest(shot, at)
    frames = float(shot.frames[0]) + np.arange(len(times)) * shot.fps / shot.rate
    stops = Shot(name=f"{shot.name} at rest", frames=frames, fps=shot.fps, gravity=shot.gravity,
                 characters=(replayed(c, times),), surfaces=(_floor(c, side, at),), unit_scale=shot.unit_scale)
    host = prepared(stops)
    return None if any(n.lane == "Balance" for n in host.result.notes) else host


def _slowest(clean: Clean, side: str) -> int | None:
    """The sample at which the center is slowest over both feet, on legs that stand."""
    shot, c = clean.shot, clean.character
    center = centers(c)
    speed = np.linalg.norm(np.gradient(center, axis=0), axis=1) * shot.rate
    stands = np.asarray(clean.touch.standing("foot.L") & clean.touch.standing("foot.R"))
    stands &= clean.touch.planted[f"foot.{side}"].all(1)
    both = sliding(stands, samples(0.1, shot.rate), np.logical_and)
    soles = np.concatenate([carried(c, sole_of(c, s)) for s in "LR"], 1)[..., :2] - center[:, None, :2]
    over = np.linalg.norm(smallest_norm(soles, np.ones(soles.shape[:2], bool)), axis=1) == 0
    slow = SLOW * np.sqrt(np.linalg.norm(shot.gravity) * c.leg_length)
    tall = np.all([_straight(c, s) > STRAIGHT for s in "LR"], axis=0)
    good = [k for k in np.flatnonzero(both & over & tall & (speed < slow)) if clean.upright((int(k), int(k)))]
    if not good:
        return None
    return int(min(good, key=lambda k: speed[k]))


def _coming_to_rest(shot: Shot, at: int) -> Array:
    """Samples (N,) of the shot, played one after the other: up to ``at``, slowing down, and there for WHOLE s."""
    start = max(0.0, at - (BEFORE + SLOWS / 2) * shot.rate)
    t = np.arange(samples(WHOLE, shot.rate) + 1) / shot.rate
    slows = np.linspace(1 / shot.rate, SLOWS, samples(SLOWS, shot.rate))
    plays = np.arange(start, at - SLOWS / 2 * shot.rate)
    braked = at - (SLOWS - slows) ** 2 / (2 * SLOWS) * shot.rate
    times = np.concatenate([plays, braked, np.full(len(t) - 1, float(at))])
    if len(plays) < samples(0.1, shot.rate):
        times = np.full(len(t) + samples(0.2, shot.rate), float(at))
    return times


def _floor(c: Character, side: str, at: int) -> Surface:
    """A wide mesh under the flat foot."""
    middle = c.head("pelvis")[at]
    middle = middle + ((carried(c, sole_of(c, side))[at] @ c.up).mean() - middle @ c.up) * c.up
    way = 20 * c.leg_length * _ahead(c, at)
    a, b = middle + way, middle + np.cross(c.up, way)
    d, e = 2 * middle - a, 2 * middle - b
    return Surface("Floor", "marked", np.array([[a, b, d], [a, d, e]]), np.eye(4)[None])


def _rows(host: Clean, first: float, last: float) -> slice:
    """Samples from ``first`` to ``last`` s after the rest begins."""
    zero = host.shot.count - 1 - WHOLE * host.shot.rate
    return slice(int(zero + first * host.shot.rate), int(zero + last * host.shot.rate))


def _since(host: Clean) -> Array:
    """(F,) s since the rest begins."""
    return np.asarray((np.arange(host.shot.count) - host.shot.count + 1) / host.shot.rate + WHOLE)


def _along(t: Array, span: tuple[float, float]) -> Array:
    return min_jerk((t - span[0]) / (span[1] - span[0]))[:, None]


def _straight(c: Character, side: str) -> Array:
    """(F,) from hip to ankle, of the leg's length."""
    root, mid, end = body.LIMBS[f"leg.{side}"]
    return np.asarray(np.linalg.norm(c.head(end) - c.head(root), axis=-1) / (c.rest_length(root) + c.rest_length(mid)))


def _balanced(host: Clean, side: str) -> Character | None:
    """The figure in balance on one foot, with no fault above low that the host has not; None where no pose is so."""
    known = {(n.check, n.part) for n in host.result.notes}
    for behind in BEHIND:
        found = _on_one_foot(host, side, behind)
        if found is None or np.max(demanded(host.with_(found), side)[_rows(host, SHIFTS[1], WHOLE)]) > 0:
            continue
        notes = host.review(found).notes
        if all((n.check, n.part) in known for n in notes if n.severity.rank >= 1):
            return found
    return None


def _on_one_foot(host: Clean, side: str, behind: float) -> Character | None:
    """The figure with its center over one foot and the other one lifted; None where its leg does not reach."""
    c, t = host.character, _since(host)
    other = "R" if side == "L" else "L"
    lift = (LIFTED * c.up - behind * _ahead(c)) * c.leg_length
    moved = c
    for _ in range(3):                                          # what is lifted moves the center as well
        sole = carried(moved, sole_of(moved, side))[-1]
        off = (sole.min(0) + sole.max(0)) / 2 - centers(moved)[-1]
        here = moved.head("pelvis")[-1] - c.head("pelvis")[-1] + off
        here = here - here @ c.up * c.up - SINKS * c.leg_length * c.up
        moved = edit.carry_root(c, _along(t, SHIFTS) * here)
        moved = edit.reach(moved, f"leg.{other}", moved.head(f"foot.{other}") + _along(t, LIFTS) * lift)
    stays = np.abs(moved.head(f"foot.{side}") - c.head(f"foot.{side}")).max() < 1e-4
    return moved if stays else None


def _ahead(c: Character, at: int = -1) -> Array:
    """Where the pelvis faces at a sample, level, unit (3,)."""
    i = c.index["pelvis"]
    assert c.axes is not None
    ahead = c.axes[at, i] @ c.rest_axes[i].T @ c.forward
    return np.asarray(unit(ahead - ahead @ c.up * c.up))


def tilted(host: Clean, balanced: Character, side: str, kind: str, degrees: float) -> Character:
    """All but the standing foot turned about its ankle."""
    c, t = balanced, _since(host)
    ahead = _ahead(c)
    left = np.cross(c.up, ahead)
    axis = left if kind == "forward" else ahead * (-1.0 if side == "L" else 1.0)
    turn = exp(np.radians(degrees) * _along(t, TILTS) * (1 - _along(t, BACK)) * axis)
    stays = set(edit.below(c, f"foot.{side}"))
    rows = [k for k in range(len(c.parts)) if k not in stays]
    return edit.transform(c, rows, turn, c.head(f"foot.{side}"), np.zeros_like(c.head("pelvis")))


def _case(host: Clean, balanced: Character, side: str, kind: str, size: str, known: Result) -> Case | None:
    shot = host.shot
    leg = host.character.leg_length
    wanted = TIMES[size] * LIMIT.medium * leg
    t = _since(host)
    inside = (t >= TILTS[0]) & (t <= BACK[1])
    low, high = 0.0, STEEPEST
    for _ in range(10):
        degrees = (low + high) / 2
        planted = tilted(host, balanced, side, kind, degrees)
        excess = np.where(inside, demanded(host.with_(planted), side), 0.0)
        low, high = (degrees, high) if excess.max() < wanted else (low, degrees)
    if excess.max() < 0.95 * wanted:
        return None
    window = (int(np.flatnonzero(inside)[0]), int(np.flatnonzero(inside)[-1]))
    long = held(excess, round(HOLD * shot.rate) + 1).max()
    severity = LIMIT.scaled(leg).severity(float(long))
    near = np.flatnonzero(excess >= 0.9 * excess.max())
    most = float(excess.max())
    leans = bool(np.median(_swung(host.with_(planted))[excess > LIMIT.low * leg]) < STANDS * leg)
    return Case(f"tilted {kind}", size, replace(host.with_(planted), name=f"{shot.name}, {kind}"),
                "off-balance" if leans else "undriven-move", "pelvis", None if severity is None else severity.value,
                most, max(0.1 * most, 0.01), window, (shot.frame(int(near[0])), shot.frame(int(near[-1]))),
                "leans" if leans else "undriven", known=known)


def _swung(shot: Shot) -> Array:
    """(F,) m that the center's own level acceleration puts the pressure point off the plumb line."""
    path = centers(shot.characters[0])
    bend = np.gradient(np.gradient(path, axis=0), axis=0) * shot.rate**2
    return np.asarray(path[:, 2] * np.linalg.norm(bend[:, :2], axis=1) / (GRAVITY + bend[:, 2]))
