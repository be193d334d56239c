# SPDX-License-Identifier: GPL-3.0-or-later
"""The underside of each foot: seven points found on the skin, told by the card, or guessed from the joints."""
from dataclasses import dataclass

import numpy as np

from .. import body
from ..need import Need
from ..numeric.rotation import cross, dot
from ..numeric.spans import sliding
from ..shot import SOLE_POINTS, Character, Sole
from ..study import Study, measure

Array = np.ndarray

# The heel lies 0.45 of the level distance from ankle to ball behind the ankle and the toe tip 0.6 of it before the
# ball: read on a walk over force plates. Half widths are shares of the foot's length, from memory.
HEEL_BEHIND, TOE_BEFORE = 0.45, 0.6
HALF_HEEL, HALF_BALL = 0.12, 0.19
# Foot length over leg length of an average adult, from memory: serves where a foot has neither toe nor a length of its
# own.
FOOT_PER_LEG = 0.31
_SPAN = HEEL_BEHIND + 1.0 + TOE_BEFORE


@dataclass(frozen=True)
class Soles:
    """Soles in the world: sides 'L', 'R' -> points (F, 7, 3) meters in the order of shot.SOLE_POINTS; source of
    each."""
    points: dict[str, Array]
    source: dict[str, str]

    @property
    def known(self) -> bool:
        """True where every sole comes from the skin or the card; a guess knows its height only to 3 or 4 cm."""
        return all(source in ("mesh", "card") for source in self.source.values())


@measure(Need.JOINTS | Need.ROTATIONS)
def soles(study: Study, character: Character) -> Soles:
    """World places of each mapped foot's sole; the card's points win, then the skin's, then the guess."""
    points, source = {}, {}
    for side in body.SIDES:
        if character.has(f"foot.{side}"):
            sole = sole_of(character, side)
            points[side] = carried(character, sole)
            source[side] = sole.source
    return Soles(points, source)


def sole_of(character: Character, side: str) -> Sole:
    """The sole at rest that this side is measured with."""
    if side in character.card.soles:
        return Sole(side, np.array(character.card.soles[side]), "card")
    for sole in character.soles:
        if sole.side == side:
            return sole
    return guessed_sole(character, side)


def carried(character: Character, sole: Sole) -> Array:
    """The sole's points (F, 7, 3) in the world: rigid on the foot, the toe tip rigid on the toe where there is one."""
    if character.axes_rows is None:
        raise ValueError("soles: the shot was sampled without rotations")
    out = np.empty((3, len(SOLE_POINTS), len(character.heads)))
    toe = f"toe.{sole.side}"
    foot = f"foot.{sole.side}"
    tip = SOLE_POINTS.index("toe_tip")
    rows: list[tuple[str, slice]] = [(foot, slice(0, tip)), (toe if character.has(toe) else foot, slice(tip, tip + 1))]
    for part, row in rows:
        i = character.index[part]
        arm = (sole.points[row] - character.rest_heads[i]) @ character.rest_axes[i]     # in the bone's own axes
        out[:, row] = np.matmul(arm, character.axes_rows[:, :, i])
        out[:, row] *= character.scale
        out[:, row] += character.head_rows[:, i, None]
    return out.T


def _turns(character: Character, part: str) -> Array:
    """Rotations (F, 3, 3) of a part from the rest pose."""
    if character.axes is None:
        raise ValueError("soles: the shot was sampled without rotations")
    i = character.index[part]
    turned: Array = character.axes[:, i] @ character.rest_axes[i].T
    return turned


def _unit(vector: Array, otherwise: Array) -> Array:
    size = float(np.linalg.norm(vector))
    return vector / size if size > 1e-9 else otherwise


def guessed_sole(character: Character, side: str) -> Sole:
    """The sole of a bare skeleton, from ankle and ball.

    A rest pose may point its toes, so the foot's own up is read from the motion: the median, over its slow and low
    frames, of where the world's up lies in the foot. Heights are known to 3 or 4 cm only; places in the plane to 1 or
    2 cm.
    """
    foot, toe = f"foot.{side}", f"toe.{side}"
    ankle = character.rest_head(foot)
    end = character.rest_end(foot)
    leg = character.leg_length or 1.0
    up = _standing_up(character, foot, leg)
    level = (end - ankle) - (end - ankle) @ up * up
    reach = float(np.linalg.norm(level))
    # without a toe the bone runs to the toe tip: its ball lies short of that
    if not character.has(toe) and reach > 0.2 * leg:
        reach /= 1.0 + TOE_BEFORE
    if reach < 0.06 * leg:                              # a stub of a foot tells neither length nor heading
        reach = FOOT_PER_LEG * leg / _SPAN
        ahead = character.forward - character.forward @ up * up
        drop = 0.09 * leg                               # ankle over sole, from memory
        base = ankle - drop * up
    else:
        ahead = level
        # under the ball's joint; a tail without a joint lies on the sole
        flesh = 0.025 * leg if character.has(toe) else 0.0
        base = ankle + min((end - ankle) @ up - flesh, -0.06 * leg) * up     # both from memory
    ahead = _unit(ahead, character.forward)
    left = cross(up, ahead)
    inner = -left if side == "L" else left
    length = _SPAN * reach
    heel, ball, tip = base - HEEL_BEHIND * reach * ahead, base + reach * ahead, base + (1 + TOE_BEFORE) * reach * ahead
    return Sole(side, np.array([
        heel, heel + HALF_HEEL * length * inner, heel - HALF_HEEL * length * inner,
        ball, ball + HALF_BALL * length * inner, ball - HALF_BALL * length * inner, tip]), "guess")


def _standing_up(character: Character, foot: str, leg: float) -> Array:
    """The up of the foot as it stands, as a direction in the rest world."""
    ankle, end = character.head(foot), character.end(foot)
    up = _unit(character.up, np.array([0.0, 0.0, 1.0]))
    low = np.minimum(ankle @ up, end @ up)
    if len(low) < 3:
        return up
    speed = np.linalg.norm(np.diff(ankle, axis=0), axis=1)
    speed = np.minimum(np.append(speed, speed[-1]), np.insert(speed, 0, speed[0]))
    near = low - sliding(low, max(3, len(low) // 4), np.minimum) < 0.06 * leg
    near &= low < low.min() + 0.5 * leg                 # not the top of a kick or a cartwheel
    slow = speed <= np.quantile(speed[near], 0.4)
    local = np.einsum("fji,j->fi", _turns(character, foot)[near & slow], up)
    return _unit(np.median(local, axis=0), up)


def sole_of_vertices(side: str, vertices: Array, ankle: Array, ball: Array | None, forward: Array, up: Array) -> Sole:
    """The sole of a foot's skin at rest.

    vertices: (N, 3) of foot and toe, rest world meters; ankle, ball: (3,) joint centers, ball None where the rig has
    none; forward, up: (3,) unit directions of the figure. Raises ValueError on fewer than four vertices.

    The foot's own heading is that from ankle to ball, else of its long axis. Heel and ball take the lowest skin near
    their place along the foot and its breadth there; the toe tip is the foremost skin, as low as the skin gets near it.
    None of them lies over the line on which the foot would rest: a foot of few vertices has none under its ball.
    """
    skin = np.asarray(vertices, float)
    if skin.ndim != 2 or skin.shape[1] != 3 or len(skin) < 4:
        raise ValueError(f"sole_of_vertices: expected at least four vertices (N, 3), got {skin.shape}")
    up = _unit(np.asarray(up, float), np.array([0.0, 0.0, 1.0]))
    level = skin - dot(skin, up)[:, None] * up
    middle = level.mean(0)
    ahead = np.asarray(forward, float) - np.asarray(forward, float) @ up * up
    if ball is not None:
        heading = (ball - ankle) - (ball - ankle) @ up * up
    else:
        heading = np.linalg.svd(level - middle, full_matrices=False)[2][0]
        heading = heading * np.sign(heading @ ahead or 1.0)
    ahead = _unit(heading, _unit(ahead, np.array([0.0, -1.0, 0.0])))
    left = cross(up, ahead)
    inner = -left if side == "L" else left
    height, along, across = dot(skin, up), dot(skin, ahead), dot(skin, inner)
    below = height <= max(float(np.dot(ankle, up)), float(np.quantile(height, 0.3)))   # leave out the shaft of a boot
    height, along, across = height[below], along[below], across[below]
    back, front = float(along.min()), float(along.max())
    length = max(front - back, 1e-6)
    low = float(height.min())
    thick = max(0.12 * length, 1e-6)
    # the heel touches where the skin first comes down, not where a boot's back bulges
    touching = height < low + 0.5 * thick
    behind = along[touching & (along < back + 0.5 * length)]
    heel_at = float(behind.min()) if len(behind) else back
    ball_at = float(np.dot(ball, ahead)) if ball is not None else back + 0.72 * length
    ball_at = min(max(ball_at, back + 0.5 * length), back + 0.9 * length)

    edge_at, edge_height = _underside(along, height)
    rests = np.interp(along, edge_at, edge_height)
    underside = height < rests + thick

    def slice_of(lo: float, hi: float) -> tuple[float, float]:
        """Least and most breadth of the skin between two places along the foot, near its underside; where there is
        none, of all the underside."""
        rows = (along >= lo) & (along <= hi)
        floor = float(height[rows].min(initial=np.inf))
        near = floor < float(np.interp((lo + hi) / 2, edge_at, edge_height)) + thick
        under = rows & (height < floor + thick) if near else underside
        return float(across[under].min()), float(across[under].max())

    def floor_of(place: float, lo: float, hi: float) -> float:
        """The height on which the foot rests at a place along it, or of the lowest skin near that."""
        rows = (along >= lo) & (along <= hi)
        return min(float(np.interp(place, edge_at, edge_height)), float(height[rows].min(initial=np.inf)))

    spans_of = ((heel_at, (back, heel_at + 0.25 * length)), (ball_at, (ball_at - 0.1 * length, ball_at + 0.1 * length)),
                (front, (front - 0.08 * length, front)))

    def at(a: float, c: float, h: float) -> Array:
        return a * ahead + c * inner + h * up

    (heel_out, heel_in), (ball_out, ball_in), (tip_out, tip_in) = (slice_of(*span) for _, span in spans_of)
    heel_floor, ball_floor, tip_floor = (floor_of(place, *span) for place, span in spans_of)
    heel_mid, ball_mid = (heel_in + heel_out) / 2, (ball_in + ball_out) / 2
    return Sole(side, np.array([
        at(heel_at, heel_mid, heel_floor), at(heel_at, heel_in, heel_floor), at(heel_at, heel_out, heel_floor),
        at(ball_at, ball_mid, ball_floor), at(ball_at, ball_in, ball_floor), at(ball_at, ball_out, ball_floor),
        at(front, (tip_in + tip_out) / 2, tip_floor)]), "mesh")


def _underside(along: Array, height: Array) -> tuple[Array, Array]:
    """The lower hull of a profile, corner by corner (C,) (C,): what it rests on when set down at any pitch."""
    order = np.lexsort((height, along))
    corners: list[tuple[float, float]] = []
    for x, y in zip(along[order].tolist(), height[order].tolist(), strict=True):
        if corners and x == corners[-1][0]:
            continue
        while len(corners) > 1:
            (ax, ay), (bx, by) = corners[-2:]
            if (by - ay) * (x - ax) < (y - ay) * (bx - ax):
                break
            corners.pop()
        corners.append((x, y))
    out = np.array(corners)
    return out[:, 0], out[:, 1]
