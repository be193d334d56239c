# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted joint faults: knees and elbows reversed, wrists tilted, legs spread, past the limit by known degrees.

The bends are made from joint centers alone: the hinge is the mean normal of the limb's own bend, a wrist's tilt the
angle between forearm and hand, a spread the thigh's direction against the pelvis's own right, up and front.
"""

from collections.abc import Callable, Iterator

import numpy as np

from .. import body
from ..measures.support import Base, base
from ..numeric import rotation as rot
from ..shot import Character
from ..study import Study
from ..tables.joint_ranges import BY_NAME
from . import edit
from .plant_flights import centers
from .plants import ALOFT, SIZES, WHOLE, Case, Clean, Window, bump, centres, quiet, reached, spaced, top_frames

Array = np.ndarray

#: Degrees past the limit, and the severity that the issue asks for.
PAST = dict(zip(SIZES, ((5.0, "low"), (15.0, "medium"), (30.0, "high")), strict=True))
TOLERANCE = 3.0
#: Degrees to the front at which a leg is spread; and up to which it must be while it passes the limit, since farther to
#: the front the limit itself rises.
FRONT, HANGS = (-20.0, 20.0), 30.0
#: Degrees to the side at which a leg comes to the limit; of one that is farther out than the second nobody can say how
#: far it is to the front, and the nearest frame on which it is not tells the limit.
PASSES = (55.0, 75.0)
#: Where less than this share of an edit is done nothing is moved yet.
BEGUN = 0.02
#: A standing leg that is to be bent is lifted first, straight up by this share of its length within so many seconds:
#: else its foot would skate out of its stand.
LIFT, LIFTED = 0.1, 4 / 24
#: Of a wrist this near the floor (legs above the lowest foot) the hand may bear weight, and then another limit is its
#: own; of an arm, bending it takes away what the body may rest on.
BEARS = {"hand": 0.15, "forearm": 0.35}
#: Seconds of a leg's bend: it must fit into a step.
LEG_WHOLE = 9 / 24
#: How high (legs over where it stands) a foot must be that a bend moves: one that a spread takes up and away may swing
#: low, one that a knee throws to the front would touch down on its way.
CLEARS = {"thigh": 0.0, "shin": 0.06}
#: Up to so many places a clip, limb and side.
PLACES = 3
#: s: so long nothing may seem to carry the body while a leg goes out, since contacts are not known closer.
MOMENT = 0.15

Bend = Callable[[Character, Array, float], Character]


def bends(clean: Clean, places: int = PLACES, wanted: Callable[[str], bool] = bool) -> Iterator[Case]:
    """All planted joint faults of a clean shot of the kinds that are wanted, up to so many places a limb and side."""
    for side in body.SIDES:
        for limb, joint in ((f"leg.{side}", "knee"), (f"arm.{side}", "elbow")):
            if not clean.character.has(*body.LIMBS[limb]):
                continue
            axis = hinge(clean.character, limb)
            if axis is not None:
                yield from _cases(clean, f"{joint} reversed", body.LIMBS[limb][1], f"{joint}_hyperextension",
                                  "hyperextension", _reverser(limb, axis), places, wanted)
        if clean.character.has(*body.LIMBS[f"arm.{side}"]):
            yield from _cases(clean, "wrist tilted", f"hand.{side}", "wrist_tilt", BY_NAME["wrist_tilt"].kind,
                              _tilter(clean.character, side), places, wanted)
        most = BY_NAME["hip_abduction"].most
        if most and clean.character.has("pelvis", *body.LIMBS[f"leg.{side}"]) and clean.character.axes is not None:
            yield from _cases(clean, "hip spread", f"thigh.{side}", "hip_abduction", BY_NAME["hip_abduction"].kind,
                              _giving_way(_spreader(side), most), places, wanted)


def _cases(clean: Clean, kind: str, part: str, angle: str, note_kind: str, bend: Bend,
           places: int, wanted: Callable[[str], bool]) -> Iterator[Case]:
    if not wanted(kind):
        return
    most = BY_NAME[angle].most
    assert most is not None
    limit = most
    whole = LEG_WHOLE if body.base(part) in CLEARS else WHOLE
    aloft = CLEARS.get(body.base(part), ALOFT)
    shot, chain = clean.shot, (part, *filter(None, (body.parent(part),)), *body.children(part))

    def found() -> Iterator[tuple[int, Callable[[str], Case]]]:
        for centre in centres(shot, whole):
            weight = bump(shot, centre, whole)
            window = reached(shot, weight)
            if not quiet(clean.result, shot, window, chain):
                continue
            c, most = clean.character, limit + PAST["large"][0]
            planted = bend(c, weight, most)
            if clean.feet_stay(planted, aloft) and _plain(clean, planted, part, window):
                yield centre, _maker(c, weight, window)
            elif body.base(part) in CLEARS:
                lift = bump(shot, centre, whole + 2 * LIFTED, whole)
                wider = reached(shot, np.where(lift > BEGUN, lift, 0.0))
                if clean.steps_out(f"foot.{body.side(part)}", wider) and quiet(clean.result, shot, wider, chain):
                    c = _lifted(c, part, lift)
                    left = (0.0, limit) if body.base(part) == "shin" else (limit,)
                    bent = (bend(c, weight, d) for d in (*left, *(limit + past for past, _ in PAST.values())))
                    down = any(clean.touches_down(b, f"foot.{body.side(part)}", window) for b in bent)
                    # the review, which costs most, is asked for last
                    if not down and _plain(clean, bend(c, weight, most), part, window) and quiet(
                            clean.review(c), shot, wider, chain):
                        yield centre, _maker(c, weight, window)

    def _maker(c: Character, weight: Array, window: Window) -> Callable[[str], Case]:
        # what a body that gives way to a leg at its limit does is no part of what lies past it
        known = clean.review(bend(c, weight, limit)) if body.base(part) == "thigh" else None

        def make(size: str) -> Case:
            past, severity = PAST[size]
            planted = clean.with_(bend(c, weight, limit + past))
            return Case(kind, size, planted, "joint-limit", part, severity, limit + past, TOLERANCE, window,
                        top_frames(shot, weight), note_kind, known=known)
        return make

    for make in spaced(found(), shot, places=places):
        for size in SIZES:
            yield make(size)


def _plain(clean: Clean, planted: Character, part: str, window: Window) -> bool:
    """Whether the limit is the plain one: the hand bears no weight, the leg hangs while it passes the limit, and what
    carries the body still does."""
    if body.base(part) == "thigh":
        down, ahead, left = _directions(planted)
        leg = rot.unit(planted.end(part) - planted.head(part))
        side = np.degrees(np.arcsin(np.clip(np.abs(rot.dot(leg, left)), 0, 1)))
        at = np.arange(window[0], window[1] + 1)
        told = np.flatnonzero(side < PASSES[1])
        tells = told[np.abs(at[side[at] > PASSES[0]][:, None] - told).argmin(1)]
        hangs = np.degrees(_front(planted, part, down, ahead))[tells].max(initial=0.0) < HANGS
        return bool(hangs and _carried(clean, planted, window))
    near = BEARS.get(body.base(part))
    return near is None or not clean.near_floor(f"hand.{body.side(part)}", window, near)


def _carried(clean: Clean, planted: Character, window: Window) -> bool:
    """Whether the body is carried wherever it was in the clean shot, but for a moment, so that the leg that goes out
    bore nothing."""
    was: Base | None = clean.study.of(base, clean.character)
    now: Base | None = Study(clean.with_(planted)).of(base, planted)
    rows = slice(window[0], window[1] + 1)
    return was is None or now is None or int((was.known & ~now.known)[rows].sum()) <= MOMENT * clean.shot.rate


def _lifted(c: Character, part: str, weight: Array) -> Character:
    """The foot of the part's leg lifted straight up by ``weight`` (F,) times LIFT."""
    limb = f"leg.{body.side(part)}"
    foot = body.LIMBS[limb][2]
    return edit.reach(c, limb, c.head(foot) + (weight * LIFT * c.leg_length)[:, None] * rot.unit(c.up))


def hinge(character: Character, limb: str) -> Array | None:
    """Unit direction (3,) in the upper bone about which the limb bends the natural way; None where it hardly bends."""
    root, mid, _ = body.LIMBS[limb]
    assert character.axes is not None
    upper, lower = character.end(root) - character.head(root), character.end(mid) - character.head(mid)
    bent = rot.angle_between(upper, lower) > np.radians(15)
    if bent.sum() < 6:
        return None
    normal = rot.seen_from(character.axes[:, character.index[root]], rot.unit(rot.cross(upper, lower)))[bent]
    mean = np.median(normal, axis=0)
    return np.asarray(rot.unit(mean)) if np.linalg.norm(mean) > 0.8 else None


def _reverser(limb: str, axis: Array) -> Bend:
    root, mid, _ = body.LIMBS[limb]

    def bend(character: Character, weight: Array, degrees: float) -> Character:
        assert character.axes is not None
        n = rot.turned(character.axes[:, character.index[root]], axis)
        upper, lower = character.end(root) - character.head(root), character.end(mid) - character.head(mid)
        now = np.arctan2(rot.dot(rot.cross(upper, lower), n), rot.dot(upper, lower))
        return edit.turn(character, mid, rot.about(n, weight * (np.radians(-degrees) - now)))

    return bend


def _tilter(character: Character, side: str) -> Bend:
    forearm, hand = f"forearm.{side}", f"hand.{side}"
    axis = hinge(character, f"arm.{side}")
    # folded about the elbow's own axis as the hand sees the forearm, or about any square one
    seed = np.array([0.0, 0.0, 1.0]) if axis is None else axis

    def bend(c: Character, weight: Array, degrees: float) -> Character:
        assert c.axes is not None
        frame = c.axes[:, c.index[f"upper_arm.{side}" if axis is not None else forearm]]
        along = rot.unit(c.end(forearm) - c.head(forearm))
        palm = rot.unit(c.end(hand) - c.head(hand))
        square = rot.unit(rot.square_to(np.broadcast_to(rot.turned(frame, seed), along.shape), along))
        target = rot.turned(rot.about(square, np.full(len(along), np.radians(degrees))), along)
        return edit.turn(c, hand, rot.exp(weight[:, None] * rot.log(rot.shortest(palm, target))))

    return bend


def _directions(c: Character) -> tuple[Array, Array, Array]:
    """The pelvis's own down, front and left, (F, 3) each, laid at rest and carried by its bone."""
    assert c.axes is not None
    i = c.index["pelvis"]
    carry = c.axes[:, i] @ c.rest_axes[i].T
    up = rot.unit(c.up)
    ahead = rot.unit(rot.square_to(c.forward, up))
    down, front, left = (rot.turned(carry, v) for v in (-up, ahead, rot.cross(up, ahead)))
    return down, front, left


def _front(c: Character, thigh: str, down: Array, ahead: Array) -> Array:
    """How far the leg is to the front, (F,) radians."""
    leg = rot.unit(c.end(thigh) - c.head(thigh))
    return np.asarray(np.arctan2(rot.dot(leg, ahead), rot.dot(leg, down)))


def _spreader(side: str) -> Bend:
    thigh = f"thigh.{side}"

    def bend(c: Character, weight: Array, degrees: float) -> Character:
        down, ahead, left = _directions(c)
        out = left if side == "L" else -left
        leg = rot.unit(c.end(thigh) - c.head(thigh))
        front = np.clip(_front(c, thigh, down, ahead), *np.radians(FRONT))[:, None]
        hanging = np.cos(front) * down + np.sin(front) * ahead
        target = np.cos(np.radians(degrees)) * hanging + np.sin(np.radians(degrees)) * out
        return edit.turn(c, thigh, rot.exp(weight[:, None] * rot.log(rot.shortest(leg, target))))

    return bend


def _giving_way(bend: Bend, whole: float) -> Bend:
    """A leg's bend with the hips going to the other side, feet staying, so that the center of mass goes on its way when
    the leg goes out by ``whole`` degrees: a leg thrown out by itself would be a fault of balance too."""
    last: list[tuple[Character, Array, Character]] = []  # the same bend is asked for at several degrees

    def both(c: Character, weight: Array, degrees: float) -> Character:
        if not last or last[0][0] is not c or last[0][1] is not weight:
            away = centers(bend(c, weight, whole)) - centers(c)
            last[:] = [(c, weight, edit.carry_root(c, -away))]
        return bend(last[0][2], weight, degrees)

    return both
