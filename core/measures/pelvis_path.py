# SPDX-License-Identifier: GPL-3.0-or-later
"""The smallest smooth change of the body's path that brings the pressure point back into the base of support."""
import numpy as np

from .. import body
from ..numeric.between import between
from ..numeric.hull import Hulls
from ..numeric.local_fit import LocalFit
from ..numeric.spans import samples, sliding
from ..shot import Character
from ..study import Study
from .contacts import Contacts, contacts
from .mass_motion import MassMotion, mass_motion
from .sole import soles
from .support import Base
from .supports import Supports, supports
from .underfoot import Underfoot, underfoot

Array = np.ndarray

AROUND = 1.0        # s before and after the fault over which the path may change
INSIDE = 0.03       # of the leg: so far within the base the point is asked to come
#: Weights of a change of the path's jerk, m / s3, and of its size, against a meter of the pressure point outside.
JERK, SIZE = 0.0005, 0.2
KNOTS = 30.0        # a second: the change has no finer detail, however finely the shot is sampled
FIXED = 100.0       # weight of no change at both ends
ROUNDS = 150
ENOUGH = 6e-5       # of the leg: rounds that change less are the last
#: Of a leg's length: straighter than this, or than it is, it is not asked to be. Seconds within which the hips sink so
#: far that it is not.
STRAIGHT, SINKS_WITHIN = 0.985, 0.15
#: Of a leg: what moves the hips by less may leave feet and hands as they are; a foot that is higher over a mesh hangs
#: however still it is (from 0.047 on ground-gap says medium of one that stands).
MOVES, HANGS = 0.005, 0.05


def mended_path(study: Study, character: Character, found: Base, span: tuple[int, int]) -> tuple[Array, Array]:
    """Samples (W,) and the level change (W, 3) m of the center of mass there, zero at both ends. Least squares over the
    change: its jerk, its size, and how far the pressure point that it leads to stays outside of the base; with the
    same parabolas that the pressure point was read by, so that a change acts as it will be measured."""
    shot = study.shot
    moved: MassMotion = study.of(mass_motion, character)
    around = samples(AROUND, shot.rate)
    rows = np.arange(max(0, span[0] - around), min(shot.count, span[1] + around + 1))
    w = len(rows)
    k = min(w, 2 + int((w - 1) / shot.rate * KNOTS))
    curve = between(np.eye(k), np.linspace(0, k - 1, w)) if k < w else np.eye(w)  # a change (W,) from its knots (K,)
    bend = LocalFit(shot.times[rows])(curve.T)[2].T                          # acceleration (W, K) that they make
    height = moved.fitted[rows] @ moved.up - found.level[rows]
    pull = np.linalg.norm(moved.gravity) * np.maximum(moved.load[rows], 0.2)
    shift = curve - (height / pull)[:, None] * bend                          # of the pressure point by a change
    known = found.known[rows] & (np.arange(w) % max(1, round(shot.rate / KNOTS)) == 0)
    rate = shot.rate * (k - 1) / (w - 1)
    jerk = np.diff(np.eye(k), 3, axis=0) * rate**2.5 * JERK
    ends = np.zeros((6, k))
    for i in range(3):                      # what the shot's own end cuts may stay changed there
        ends[i, i] = FIXED * (rows[0] > 0)
        ends[3 + i, k - 1 - i] = FIXED * (rows[-1] < shot.count - 1)
    shares = shift[known]
    stack = np.concatenate([shares, jerk, SIZE * np.eye(k), ends])
    solve = np.linalg.solve(stack.T @ stack, shares.T)
    corners, there = _shrunk(found.corners[rows][known], found.there[rows][known], INSIDE * character.leg_length)
    hulls = Hulls(corners - found.point[rows][known][:, None], there)
    change = np.zeros((k, 2))
    for _ in range(ROUNDS):
        # what lies outside is asked to the edge, what lies inside to stay where it is
        now = shares @ change
        before, change = change, solve @ (now + np.nan_to_num(hulls.nearest(-now)))
        if np.abs(change - before).max() < ENOUGH * character.leg_length:
            break
    return rows, curve @ change @ found.plane.T


def reaching(study: Study, character: Character, rows: Array, hips: Array, rises: bool) -> Array:
    """The hips' change (W, 3) m at samples ``rows``, let down as far as the legs need to reach feet that stand. rises:
    and up as far as those legs allow without getting longer, since a leg that leans and is brought upright at the same
    height would fold, and its ankle with it."""
    touch: Contacts = study.of(contacts, character)
    up = character.up
    deep, room = np.zeros(len(rows)), np.full(len(rows), np.inf)
    for limb, (root, mid, end) in body.LIMBS.items():
        if not limb.startswith("leg") or end not in touch.planted or not character.has(root, mid, end):
            continue
        length = (character.rest_length(root) + character.rest_length(mid)) * character.scale[rows]
        arm = character.head(root)[rows] - character.head(end)[rows]
        long = np.linalg.norm(arm, axis=-1)
        most = np.maximum(STRAIGHT * length, long)
        arm = arm + hips
        high = arm @ up
        level = np.linalg.norm(arm - high[:, None] * up, axis=-1)
        needs = high - np.sqrt(np.maximum(most**2 - level**2, 0.0))
        stands = touch.standing(end)[rows]
        deep = np.maximum(deep, np.where(stands, needs, 0.0))
        room = np.where(stands, np.minimum(room, np.sqrt(np.maximum(long**2 - level**2, 0.0)) - high), room)
    reach = samples(SINKS_WITHIN, study.shot.rate)
    high = sliding(np.where(np.isfinite(room) & rises, np.maximum(room, 0.0), 0.0), reach, np.minimum)
    bump = 1 - np.abs(np.arange(-reach, reach + 1)) / (reach + 1)
    level = np.pad(high - sliding(deep, reach), reach)
    return np.asarray(hips + np.convolve(level, bump / bump.sum(), "valid")[:, None] * up)


def taken_along(study: Study, character: Character, rows: Array, hips: Array) -> tuple[str, ...]:
    """The feet that stand, and the hands with goals that touch anything, at none of the samples ``rows`` (W,) at which
    the hips' change (W, 3) moves the body: they go with it, wherever their goals are kept. Left behind they would fold
    their limb. A foot that is held still in the air where no mesh tells what is below it counts as one that stands."""
    touch: Contacts = study.of(contacts, character)
    moves = rows[np.linalg.norm(hips, axis=-1) > MOVES * character.leg_length]
    found: Supports = study.of(supports, character)
    goals = {goal.part for goal in character.goals}
    out = []
    for limb, parts in body.LIMBS.items():
        end = parts[2]
        if limb.startswith("leg"):
            free = end in touch.planted and not (touch.standing(end) & ~_hangs(study, character, end))[moves].any()
        else:
            free = end in goals and end in found.parts and not found.touches[found.parts.index(end)][moves].any()
        if free and character.has(*parts):
            out.append(end)
    return tuple(out)


def _hangs(study: Study, character: Character, foot: str) -> Array:
    """(F,) bool: a mesh shows the whole sole to be in the air."""
    ground: Underfoot = study.of(underfoot, character)
    side = body.side(foot)
    over = study.of(soles, character).points[side] @ ground.up - ground.height[side]
    return np.asarray(np.where(np.isnan(over), -np.inf, over).min(1) > HANGS * character.leg_length)


def _shrunk(corners: Array, there: Array, by: float) -> tuple[Array, Array]:
    """The corners (F, M, 2) drawn toward their own middle by so many meters, no farther than there."""
    weight = there[..., None].astype(float)
    middle = (corners * weight).sum(1, keepdims=True) / np.maximum(weight.sum(1, keepdims=True), 1e-12)
    arm = corners - middle
    long = np.linalg.norm(arm, axis=-1, keepdims=True)
    return middle + arm * np.clip(1 - by / np.maximum(long, 1e-9), 0.0, 1.0), there
