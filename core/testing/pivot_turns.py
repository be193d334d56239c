# SPDX-License-Identifier: GPL-3.0-or-later
"""Steps keyed on a pivot rig, whose contacts are known exactly: turns under load, slow low steps, jumps, a raised foot.

Each foot is told by its plants. While it stands it turns about its heel edge as it lands, about the vertical through
its ball while it bears, and about its ball as it leaves; every pivot is held exactly.
"""
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..shot import Sole, Surface
from . import edit
from .pivot_walk import PUSH, STRIKE, Walk, pitched, smooth, standing_sole
from .puppet import act, adult

Array = np.ndarray

BEHIND = 0.10               # m from the ball back to under the hips of the figure at rest


@dataclass(frozen=True)
class Plant:
    """One contact: from ``on`` to ``off`` s, the ball's place (2,) m under the figure's own x and y, heading in radians
    from -Y as it lands and as it leaves; strike and push: the sole's pitch then, toes down positive; level m: the
    height of what it stands on."""
    on: float
    off: float
    place: tuple[float, float]
    heading: float = 0.0
    turned: float = 0.0
    strike: float = STRIKE
    push: float = PUSH
    level: float = 0.0


def stepping(left: Sequence[Plant], right: Sequence[Plant], seconds: float, fps: float = 24.0, lift: float = 0.09,
             eased: bool = False, airs: Sequence[tuple[float, float]] = ()) -> Walk:
    """The steps as a Shot, and the moments at which each foot touches and leaves.

    lift m: how high feet swing; eased: they leave and land softly, as between two flat keys; else at some speed, as
    people's do. airs: (start, end) s of flights, in which the whole body flies a parabola under gravity.
    """
    f = int(round(seconds * fps)) + 1
    t = np.arange(f) / fps
    over = np.array([_track(plants, t) for plants in (left, right)])
    body = np.column_stack([over[..., :2].mean(0), over[..., 2].min(0) - 0.1])
    up = np.zeros(f)
    for a, b in airs:
        up += np.where((t > a) & (t < b), 4.905 * (t - a) * (b - t), 0.0)
    body[:, 2] += up
    shot = act({}, body, fps, adult())
    character = shot.characters[0]
    soles = []
    for side, plants in (("L", left), ("R", right)):
        foot = f"foot.{side}"
        sole = standing_sole(side)
        soles.append(Sole(side, sole, "card"))
        place, turn = _foot(plants, t, character.rest_head(foot), sole, lift, eased)
        place[:, 2] += up
        character = edit.reach(character, f"leg.{side}", place)
        missed = float(np.abs(character.head(foot) - place).max())
        if missed > 1e-6:
            raise ValueError(f"stepping: a {foot} goes {missed:.3f} m farther than its leg")
        character = edit.turn(character, foot, turn)
    character = replace(character, soles=tuple(soles))
    known = {f"foot.{side}": [(p.on, p.off) for p in plants] for side, plants in (("L", left), ("R", right))}
    return Walk(replace(shot, characters=(character,)), known)


def _track(plants: Sequence[Plant], t: Array) -> Array:
    """(F, 3) where the body would be over one foot alone: over its ankle, as far behind its ball as at rest."""
    knots = [moment for p in plants for moment in (p.on, p.off)]
    x, y = (np.interp(t, knots, [p.place[k] for p in plants for _ in range(2)]) for k in (0, 1))
    heading = np.interp(t, knots, [h for p in plants for h in (p.heading, p.heading + p.turned)])
    level = np.interp(t, knots, [p.level for p in plants for _ in range(2)])
    return np.column_stack([x - BEHIND * np.sin(heading), y + BEHIND * np.cos(heading), level])


def _yaw(angle: float) -> Array:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _stand(p: Plant, s: float, ankle: Array, sole: Array) -> tuple[Array, Array]:
    """Ankle place (3,) and turn (3, 3) of a foot s seconds after it touched."""
    heel, ball = sole[0] * (1, 1, 0), sole[3] * (1, 1, 0)
    whole = p.off - p.on
    roll, peel = min(0.10, whole / 4), min(0.26, whole / 3)
    over = float(smooth((s - roll) / max(whole - roll - peel, 1e-6)))
    yaw = _yaw(p.heading + p.turned * over)
    pitch, pivot = 0.0, ball
    if s < roll:
        pitch, pivot = p.strike * float(1 - smooth(s / roll)), heel if p.strike < 0 else ball
    elif s > whole - peel:
        pitch = p.push * float(smooth((s - whole + peel) / peel))
    tilt = pitched(pitch)
    # pitched about its pivot in its own frame, then turned about the vertical through its ball
    own = pivot + tilt @ (ankle - pivot)
    return yaw @ (own - ball) + np.array([*p.place, p.level]) + (0, 0, ball[2]), yaw @ tilt


def _foot(plants: Sequence[Plant], t: Array, ankle: Array, sole: Array, lift: float, eased: bool
          ) -> tuple[Array, Array]:
    place, turn = np.empty((len(t), 3)), np.empty((len(t), 3, 3))
    ground = np.array([0.0, 0.0, sole[:, 2].min()])
    ankle, sole = ankle - ground, sole - ground
    for i, now in enumerate(t):
        k = max((n for n, p in enumerate(plants) if p.on <= now + 1e-9), default=0)
        p = plants[k]
        if now <= p.off + 1e-9 or k + 1 == len(plants):
            place[i], turn[i] = _stand(p, min(max(now - p.on, 0.0), p.off - p.on), ankle, sole)
            continue
        q = plants[k + 1]
        s = (now - p.off) / (q.on - p.off)
        gone = float(smooth(s)) if eased else 0.55 * s + 0.45 * float(smooth(s))
        (start, _), (end, _) = _stand(p, p.off - p.on, ankle, sole), _stand(q, 0.0, ankle, sole)
        a, b = p.heading + p.turned, q.heading
        yaw = _yaw(a + (b - a) * gone)
        place[i] = start + (end - start) * gone + (0, 0, lift * np.sin(np.pi * s) ** 2)
        turn[i] = yaw @ pitched(p.push + (q.strike - p.push) * gone)
    return place + ground, turn


# ---- what people do --------------------------------------------------------------------------------------------------


def quarter_turn(fps: float = 24.0, under_load: float = np.pi / 4, eased: bool = False) -> Walk:
    """A walk that turns by a quarter to the left: half of it under the right foot's load."""
    headings = [0.0] * 5 + [np.pi / 2 - under_load] + [np.pi / 2] * 5
    at, walked = np.zeros(2), []
    for k, heading in enumerate(headings, start=-2):
        ahead = np.array([np.sin(heading), -np.cos(heading)])
        aside = np.array([np.cos(heading), np.sin(heading)]) * (0.09 if k % 2 == 0 else -0.09)
        at = at + 0.4 * ahead
        turned = under_load if k == 3 else 0.0
        walked.append(Plant(0.2 + 0.58 * k, 0.2 + 0.58 * k + 0.75, tuple(at + aside), heading, turned))
    return stepping(walked[0::2], walked[1::2], 4.4, fps, eased=eased)


def shuffle(fps: float = 24.0, rise: float = 0.02) -> Walk:
    """Slow steps on the spot, to the side and back, that hardly leave the ground: 25 cm in half a second."""
    def row(side: float, late: float) -> list[Plant]:
        return [Plant(1.6 * k + late - 0.5, 1.6 * k + late + 0.6, (side * 0.1 + 0.25 * (k % 2), 0.0), strike=0.0,
                      push=0.0) for k in range(-1, 5)]

    return stepping(row(1, 0.0), row(-1, 0.8), 5.4, fps, lift=rise)


def hop(fps: float = 24.0, flight: float = 0.4) -> Walk:
    """A jump on the spot from both feet, toes last to leave and first to touch."""
    rows = [[Plant(0.0, 1.0, (x, 0.0), push=float(np.radians(40.0))),
             Plant(1.0 + flight, 2.6, (x, 0.0), strike=float(np.radians(30.0)), push=0.0)] for x in (0.09, -0.09)]
    return stepping(rows[0], rows[1], 2.4, fps, lift=0.0, airs=((1.0, 1.0 + flight),))


def raised(fps: float = 24.0, level: float = 0.3) -> Walk:
    """One foot is raised and held still in the air for two seconds, the body over the other."""
    left = [Plant(0.0, 1.0, (0.05, 0.0), strike=0.0, push=0.0),
            Plant(1.5, 3.5, (0.05, -0.15), strike=0.0, push=0.0, level=level),
            Plant(4.0, 5.0, (0.05, 0.0), strike=0.0, push=0.0)]
    made = stepping(left, [Plant(0.0, 5.0, (-0.05, 0.0), strike=0.0, push=0.0)], 4.8, fps)
    return Walk(made.shot, made.contacts | {"foot.L": [(0.0, 1.0), (4.0, 5.0)]})


def stairs(fps: float = 24.0, rise: float = 0.15, eased: bool = False) -> Walk:
    """Up stairs of 30 cm treads, landing flat; the treads are meshes of the shot, one surface."""
    rows: tuple[list[Plant], list[Plant]] = ([], [])
    treads = []
    for k in range(-2, 9):
        level, y = rise * k, -0.3 * k
        aside = 0.09 if k % 2 == 0 else -0.09
        rows[k % 2].append(Plant(0.2 + 0.6 * k, 0.98 + 0.6 * k, (aside, y), strike=0.0, push=0.3, level=level))
        a, b, c, d = ([x, y + back, level] for x, back in ((-2, 0.22), (2, 0.22), (2, -0.08), (-2, -0.08)))
        treads += [[a, b, c], [a, c, d]]
    made = stepping(rows[0], rows[1], 4.4, fps, lift=rise + 0.06, eased=eased)
    surface = Surface("Stairs", "marked", np.array(treads), np.eye(4)[None])
    return Walk(replace(made.shot, surfaces=(surface,)), made.contacts)
