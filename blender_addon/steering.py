# SPDX-License-Identifier: GPL-3.0-or-later
"""What values bring a part's end where it has to come: asked of Blender itself, so that every rig answers for itself.

The values of the named curves are moved a little one by one, and what moves the end without taking the rest of the body
along is kept; of that the smallest change is taken (damped least squares, some rounds).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core import body
from ..core.remedy_offsets import Offset
from .named_channels import Named

Array = np.ndarray

#: A change of one is, for turns, this many radians, for places this share of the leg.
_TURN, _PLACE = 1.0, 0.3
#: The little change: of a turn in radians, of a place in shares of the leg.
_LITTLE = 1e-3
#: What moves the end by less than this share of what the best value does is left alone.
_USEFUL = 0.02
#: What moves other parts by this share of how it moves the end takes the body along.
_ALONG = 0.4
#: Share of the largest singular value by which solving is damped; rounds; the share of an offset that may be missed.
_DAMPED, _ROUNDS, _MISSED = 0.02, 8, 0.02
#: A part whose end comes by less than this share of the way cannot be brought there by these keys.
REACHED = 0.5


@dataclass(frozen=True)
class Steered:
    """Curves, and their values (C, N) on whole scene frames from ``first`` on; reach (C,): scene units by which the
    part's end moves for one of each value. missed: the share of the largest offset that is left."""

    channels: list[Named]
    first: int
    values: Array
    reach: Array
    missed: float


@dataclass(frozen=True)
class Figure:
    """The measured bones of a character: part -> (armature object, bone name). leg: its length in scene units."""

    bones: dict[str, tuple[Any, str]]
    leg: float

    def bone(self, part: str) -> Any:
        rig, name = self.bones[part]
        return rig.pose.bones[name]


def end_of(figure: Figure, part: str, own: bool) -> Callable[[], Array]:
    """A reader of the place (3,), in scene units, that an offset of this part speaks of: of a limb's end the goal that
    it follows, else its joint; of the pelvis its joint; of all else, or where only the part's ``own`` turn counts,
    where the part ends."""
    if not own and (part == "pelvis" or any(part == limb[2] for limb in body.LIMBS.values())):
        goal = _goal(figure, part)
        if goal is not None:
            return goal
        return _joint(figure, part)
    following = body.next_part(part)
    if following in figure.bones:
        return _joint(figure, str(following))
    rig, bone = figure.bones[part][0], figure.bone(part)
    return lambda: np.array(rig.matrix_world @ bone.tail)


def _joint(figure: Figure, part: str) -> Callable[[], Array]:
    rig, bone = figure.bones[part][0], figure.bone(part)
    return lambda: np.array(rig.matrix_world @ bone.head)


def _goal(figure: Figure, part: str) -> Callable[[], Array] | None:
    """Where the goal of the limb that ends in this part stands: beyond its reach the limb itself follows no more."""
    limb = next((parts for parts in body.LIMBS.values() if parts[2] == part), None)
    if limb is None or limb[1] not in figure.bones:
        return None
    for constraint in figure.bone(limb[1]).constraints:
        if constraint.type != "IK" or constraint.mute or constraint.influence < 0.5 or constraint.target is None:
            continue
        target = constraint.target
        if target.pose is not None and constraint.subtarget in target.pose.bones:
            bone = target.pose.bones[constraint.subtarget]
            return lambda: np.array(target.matrix_world @ bone.head)
        return lambda: np.array(target.matrix_world.translation)
    return None


def steer(
    context: Any, figure: Figure, offset: Offset, wanted: Array, channels: Sequence[Named],
    stays: tuple[bool, bool] = (True, True),
) -> Steered | None:
    """Values that bring the part's end to ``wanted`` (N, 3), scene units, on the frames of the offset and one more at
    each side that ``stays``; None where none of the curves moves it."""
    scene = context.scene
    before, after = map(int, stays)
    frames = np.arange(offset.first - before, offset.first + len(wanted) + after)
    place = end_of(figure, offset.part, offset.own)
    scene.frame_set(int(frames[len(frames) // 2]))
    kept = _useful(context, figure, offset, place, [c for c in channels if _may(c, figure)])
    if not kept:
        return None
    values = np.array([c.values(frames) for c in kept])
    weights = _weights(kept, figure)
    reach, missed = np.zeros(len(kept)), 0.0
    for n, target in enumerate(wanted, start=before):
        scene.frame_set(int(frames[n]))
        context.view_layer.update()
        here = place()
        if np.linalg.norm(target - here) < 1e-9:
            continue
        near = _MISSED * float(np.linalg.norm(target - here))
        found = _solved(context, place, kept, weights, values[:, n], target)
        if found.left > near:  # a straight limb bends no more by itself: begin from the frames outside
            share = n / (len(wanted) + 1)
            start = values[:, 0] + share * (values[:, -1] - values[:, 0])
            found = min(found, _solved(context, place, kept, weights, start, target), key=lambda s: s.left)
        values[:, n], missed = found.values, max(missed, found.left)
        reach = np.maximum(reach, found.reach)
    largest = float(np.linalg.norm(offset.offsets, axis=-1).max()) or 1.0
    return Steered(kept, int(frames[0]), values, np.maximum(reach, 1e-9), missed / largest)


def _may(channel: Named, figure: Figure) -> bool:
    """A bone of the body keeps its joint: only its turn may change, but for what carries the body."""
    own = {(rig.name, name): part for part, (rig, name) in figure.bones.items()}
    part = own.get((channel.object.name, channel.bone))
    return channel.turns or part is None or part == "pelvis"


def _weights(channels: Sequence[Named], figure: Figure) -> Array:
    """(C,) the change of each value that counts as one."""
    return np.array([_TURN if c.turns else _PLACE * figure.leg / _scale(c) for c in channels])


def _scale(channel: Named) -> float:
    """Scene units of one unit of the channel's place."""
    if not channel.bone:
        return 1.0
    return max(float(np.abs(channel.object.matrix_world.to_scale()).mean()), 1e-9)


def _useful(
    context: Any, figure: Figure, offset: Offset, place: Callable[[], Array], channels: list[Named]
) -> list[Named]:
    """The curves that move the end, and of these those that leave the rest of the body alone, if there are any."""
    if not channels:
        return []
    rest = [_joint(figure, p) for p in _others(figure, offset)]
    weights = _weights(channels, figure)

    def read() -> Array:
        return np.array([place(), *(other() for other in rest)])

    context.view_layer.update()
    before = read()
    ends, others = np.zeros(len(channels)), np.zeros(len(channels))
    for k, channel in enumerate(channels):
        value = channel.value
        channel.set(value + _LITTLE * weights[k])
        context.view_layer.update()
        moved = np.linalg.norm(read() - before, axis=-1)
        channel.set(value)
        ends[k], others[k] = moved[0], moved[1:].max(initial=0.0)
    context.view_layer.update()
    useful = ends > max(_USEFUL * ends.max(), 1e-7 * figure.leg)
    alone = useful & (others <= _ALONG * ends)
    kept = alone if alone.any() else useful
    return [c for c, keeps in zip(channels, kept, strict=True) if keeps]


def _others(figure: Figure, offset: Offset) -> list[str]:
    """The parts that have to stay when this one moves: of the pelvis the feet, else all that does not hang from it or
    from the rest of its limb."""
    if offset.part == "pelvis":
        return [p for p in ("foot.L", "foot.R") if p in figure.bones]
    limb = next((parts for parts in body.LIMBS.values() if offset.part == parts[2] and not offset.own), ())
    chain = {offset.part, *limb}
    if offset.part == "head":
        chain.add("neck")
    if offset.part == "chest":
        chain.add("spine")
    if limb and body.parent(limb[0]) not in (None, "pelvis"):
        chain.add(str(body.parent(limb[0])))
    moving = chain.union(*(body.descendants(p) for p in chain))
    # the joint of the nearest one stays where it is, whatever turns there
    return [p for p in figure.bones if p not in moving]


def _slopes(context: Any, place: Callable[[], Array], channels: Sequence[Named], weights: Array) -> Array:
    """(3, C): how the end moves for a change of one of each value."""
    out = np.zeros((3, len(channels)))
    for k, channel in enumerate(channels):
        value = channel.value
        ends = []
        for way in (1.0, -1.0):
            channel.set(value + way * _LITTLE * weights[k])
            context.view_layer.update()
            ends.append(place())
        channel.set(value)
        out[:, k] = (ends[0] - ends[1]) / (2 * _LITTLE)
    context.view_layer.update()
    return out


@dataclass(frozen=True)
class _Solved:
    """values (C,); left: how far the end stays from its target; reach (C,) as in Steered."""

    values: Array
    left: float
    reach: Array


def _solved(
    context: Any, place: Callable[[], Array], channels: Sequence[Named], weights: Array, start: Array, target: Array
) -> _Solved:
    """Values that bring the end to the target, from a start (C,)."""

    def left_at(values: Array) -> Array:
        for channel, value in zip(channels, values, strict=True):
            channel.set(float(value))
        context.view_layer.update()
        return target - place()

    values, way = start, left_at(start)
    best, least = start, float(np.linalg.norm(way))
    tolerated = _MISSED * least
    slope = _slopes(context, place, channels, weights)
    reach = np.linalg.norm(slope, axis=0) / weights
    for round_ in range(_ROUNDS):
        if least <= tolerated:
            break
        u, size, v = np.linalg.svd(slope, full_matrices=False)
        damped = size / (size**2 + (_DAMPED * size.max()) ** 2)
        values = values + weights * (v.T @ (damped * (u.T @ way)))
        way = left_at(values)
        far = float(np.linalg.norm(way))
        if far >= least:
            break
        if far > 0.5 * least and round_ < _ROUNDS - 1:  # far off a straight line: look anew how the end moves
            slope = _slopes(context, place, channels, weights)
        best, least = values, far
    return _Solved(best, least, reach)
