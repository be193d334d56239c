# SPDX-License-Identifier: GPL-3.0-or-later
"""Edits of a sampled Character: the one set of moves that planted faults and remedies are both made of.

Every function returns a new Character; arrays are (F, ...) over the character's samples, world meters and world
rotations.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from .. import body
from ..measures.local import local_axes
from ..numeric.rotation import cross, norm, square_to, turned, unit
from ..shot import Character, Goal, Shot

Array = np.ndarray

#: Of a chain's length: from there on it is straight, as one that stretches is.
STRETCHED = 0.999


def below(character: Character, part: str) -> list[int]:
    """Indices of the part and of all mapped parts that hang from it."""
    return [character.index[p] for p in (part, *body.descendants(part)) if p in character.index]


def transform(character: Character, rows: Iterable[int], turn: Array, centre: Array, offset: Array) -> Character:
    """Rows turned by ``turn`` (F, 3, 3) about ``centre`` (F, 3), then moved by ``offset`` (F, 3), with their goals."""
    return _transformed(character, [(list(rows), turn, centre, offset)])


def _transformed(character: Character, steps: Iterable[tuple[list[int], Array | None, Array, Array]]) -> Character:
    """Several of ``transform`` one after the other, on one copy of the arrays; turn None: the rows are only moved."""
    heads, tails = character.heads.copy(), character.tails.copy()
    # what was given one array for both keeps one, as Character does
    one = character.axes is not None and character.twist_axes is not None and (
        character.axes.__array_interface__ == character.twist_axes.__array_interface__)
    axes = {name: old.copy() for name in (("axes",) if one else ("axes", "twist_axes"))
            if (old := getattr(character, name)) is not None}
    goals = character.goals
    for rows, turn, centre, offset in steps:
        for array in (heads, tails):
            arms = array[:, rows] - centre[:, None]
            if turn is not None:
                arms = np.einsum("fij,fpj->fpi", turn, arms)
            array[:, rows] = arms + (centre + offset)[:, None]
        if turn is not None:
            for array in axes.values():
                array[:, rows] = turn[:, None] @ array[:, rows]
        names = {character.parts[r] for r in rows}
        goals = tuple(replace(g, place=_carried(g.place, turn, centre, offset),
                              reach=_carried(g.reach, turn, centre, offset)) if g.part in names else g for g in goals)
    if one:
        axes["twist_axes"] = axes["axes"]
    new: dict[str, Any] = {"heads": heads, "tails": tails, "goals": goals, **axes}
    return replace(character, **new)


def _carried(place: Array, turn: Array | None, centre: Array, offset: Array) -> Array:
    arm = place - centre
    return (arm if turn is None else turned(turn, arm)) + centre + offset


def overreaches(old: Character, new: Character, limb: str, most: float) -> bool:
    """Whether the limb ('leg.L') is anywhere straighter in ``new`` than it is in ``old``, and than ``most`` of its
    length."""
    root, mid, end = body.LIMBS[limb]
    length = (old.rest_length(root) + old.rest_length(mid)) * old.scale
    was, now = (norm(c.head(end) - c.head(root)) / length for c in (old, new))
    return bool((now > np.maximum(most, was + 1e-6)).any())


def _still(character: Character) -> Array:
    return np.broadcast_to(np.eye(3), (len(character.heads), 3, 3))


def turn(character: Character, part: str, rotation: Array) -> Character:
    """The part and all below it turned by world rotations (F, 3, 3) about the part's own joint."""
    centre = character.head(part)
    return transform(character, below(character, part), rotation, centre, np.zeros_like(centre))


def with_turn(character: Character, part: str, local: Array) -> Character:
    """The part's axes against its parent exchanged for ``local`` (F, 3, 3), what hangs from it carried along."""
    assert character.axes is not None
    now = local_axes(character, part)
    own = character.axes[:, character.index[part]]
    above = own @ now.swapaxes(-1, -2)
    return turn(character, part, above @ local @ own.swapaxes(-1, -2))


def rolled(character: Character, part: str, about: Array, rotation: Array) -> Character:
    """A limb's end turned by world rotations (F, 3, 3) about places (F, 3) on it that stay, its limb solved again."""
    limb = next(name for name, parts in body.LIMBS.items() if parts[2] == part)
    place = about + turned(rotation, character.head(part) - about)
    return turn(reach(character, limb, place), part, rotation)


def shift(character: Character, offset: Array) -> Character:
    """The whole character moved by (F, 3)."""
    zero = np.zeros((len(character.heads), 3))
    return _transformed(character, [(list(range(len(character.parts))), None, zero, zero + offset)])


def _poles(character: Character, root: str, mid: str, line: Array) -> Array:
    """Unit directions (F, 3) square to ``line`` in which the limb bends; on straight frames that of the nearest bent
    ones, carried by the trunk; of a limb that never bends, forward for knees and back for elbows."""
    pole = square_to(character.head(mid) - character.head(root), line)
    bent = norm(pole) > 0.01 * character.rest_length(root)
    if bent.all():
        return unit(pole)
    carrier = (
        character.index[body.base(root) == "thigh" and "pelvis" or "chest"] if character.has("pelvis", "chest") else 0
    )
    base = character.axes[:, carrier] if character.axes is not None else _still(character)
    if bent.any():
        local = np.einsum("fji,fj->fi", base, pole)
        local = local[_nearest(np.flatnonzero(bent), len(bent))]
    else:
        ahead = character.forward if body.base(root) == "thigh" else -character.forward
        local = np.broadcast_to(character.rest_axes[carrier].T @ ahead, pole.shape)
    guess = turned(base, local)
    return unit(np.where(bent[:, None], pole, square_to(guess, line)))


def _nearest(good: Array, count: int) -> Array:
    """(count,) for each row the nearest of the rising rows ``good``, of two as near the earlier one."""
    rows = np.arange(count)
    after = np.searchsorted(good, rows)
    before, after = good[np.maximum(after - 1, 0)], good[np.minimum(after, len(good) - 1)]
    return np.asarray(np.where(np.abs(rows - before) <= np.abs(after - rows), before, after))


def reach(
    character: Character,
    limb: str,
    place: Array,
    stretch: bool = False,
    solve: Array | None = None,
    relax: bool = False,
) -> Character:
    """The limb ('leg.L') re-solved so that its end joint comes to ``place`` (F, 3), its bend plane kept.

    Beyond its length the chain goes straight and stops short (its goals then show a gap), or stretches evenly.
    ``solve`` (F,) bool limits the edit to some frames. The end part keeps its direction. ``relax``: bones that are
    stretched go back toward their length at rest as far as the place allows, as a stretching chain's do. Such a chain
    is straight meanwhile; a bent one whose bones are long keeps them.
    """
    root, mid, end = body.LIMBS[limb]
    a, b, c = character.head(root), character.head(mid), character.head(end)
    active = np.ones(len(a), bool) if solve is None else solve
    place = np.where(active[:, None], place, c)
    upper, lower = norm(b - a), norm(c - b)
    was = unit(c - a)
    pole = _poles(character, root, mid, was)
    far = norm(place - a)
    line = unit(place - a)
    if relax:
        rest = (character.rest_length(root) * character.scale, character.rest_length(mid) * character.scale)
        grown = np.maximum((upper + lower) / (rest[0] + rest[1]), 1.0)
        wanted = np.clip(far / (rest[0] + rest[1]), 1.0, grown)
        loose = active & (wanted < grown - 1e-9) & (np.linalg.norm(c - a, axis=-1) > STRETCHED * (upper + lower))
        upper, lower = (np.where(loose, length * wanted / grown, length) for length in (upper, lower))
    normal = cross(was, pole)
    pole_now = unit(square_to(pole, line))
    normal_now = cross(line, pole_now)
    growth = np.maximum(far / (upper + lower), 1.0) if stretch else np.ones_like(far)
    l1, l2 = upper * growth, lower * growth
    span = np.clip(far, np.abs(l1 - l2) + 1e-9, l1 + l2)
    cosine = np.clip((l1**2 + span**2 - l2**2) / (2 * l1 * span), -1, 1)
    sine = np.sqrt(1 - cosine**2)
    knee = a + (l1 * cosine)[:, None] * line + (l1 * sine)[:, None] * pole_now
    ankle = a + span[:, None] * line

    def frame(direction: Array, n: Array) -> Array:
        n = unit(square_to(n, direction))
        return np.stack([direction, cross(n, direction), n], -1)

    turn_upper = frame(unit(knee - a), normal_now) @ frame(unit(b - a), normal).swapaxes(-1, -2)
    turn_lower = frame(unit(ankle - knee), normal_now) @ frame(unit(c - b), normal).swapaxes(-1, -2)
    still = _still(character)
    keep = active[:, None, None]
    zero = np.zeros_like(a)
    new = _transformed(character, [
        ([character.index[root]], np.where(keep, turn_upper, still), a, zero),
        ([character.index[mid]], np.where(keep, turn_lower, still), b, np.where(active[:, None], knee - b, 0)),
        (below(character, end), None, c, np.where(active[:, None], ankle - c, 0)),
    ])
    tails = new.tails
    if growth.max() > 1 or relax:  # a stretched bone's tail rides at its new end
        tails = tails.copy()
        for part, joint in ((root, knee), (mid, ankle)):
            was_tail = np.linalg.norm(character.tails[:, character.index[part]] - character.end(part), axis=-1) < 1e-4
            tails[:, character.index[part]] = np.where(was_tail[:, None], joint, tails[:, character.index[part]])
    goals = tuple(
        Goal(g.part, np.where(active[:, None], place, g.place), np.where(active[:, None], ankle, g.reach), g.influence)
        if g.part == end
        else g
        for g in new.goals
    )
    return replace(new, tails=tails, goals=goals)


def carry_root(character: Character, offset: Array, hold: Iterable[str] = ("leg.L", "leg.R")) -> Character:
    """The body moved by (F, 3) while the ends of the ``hold`` limbs, or the goals that they cannot reach, stay."""
    ends = {limb: aim(character, body.LIMBS[limb][2]) for limb in hold if character.has(*body.LIMBS[limb])}
    new = shift(character, offset)
    for limb, place in ends.items():
        new = reach(new, limb, place, relax=True)
    return new


def aim(character: Character, end: str) -> Array:
    """Where the limb's end would be, (F, 3), if it reached its goal; where it is, without a goal."""
    place = character.head(end).copy()
    for goal in character.goals:
        if goal.part == end:
            place = place + (goal.place - goal.reach) * goal.influence[:, None]
    return place


def with_goals(character: Character, limbs: Iterable[str] = tuple(body.LIMBS)) -> Character:
    """The character with a goal at the end of each limb, as an inverse-kinematics rig has."""
    goals = []
    for limb in limbs:
        end = body.LIMBS[limb][2]
        if character.has(*body.LIMBS[limb]):
            place = character.head(end).copy()
            goals.append(Goal(end, place, place.copy(), np.ones(len(place))))
    return replace(character, goals=tuple(goals))


def with_short_legs(character: Character, share: float = 0.45) -> Character:
    """The legs as they are, but ``share`` of that at rest: the build of a doll, on which people's shares of mass are a
    guess."""
    rest = character.rest_heads.copy()
    for part in (f"{p}.{s}" for p in ("shin", "foot", "toe") for s in body.SIDES):
        if part in character.index:
            root = rest[character.index[f"thigh.{body.side(part)}"]] @ character.up
            fall = root - rest[character.index[part]] @ character.up
            rest[character.index[part]] += (1 - share) * fall * character.up
    return replace(character, rest_heads=rest)


def rigid(shot: Shot, rotation: Array, offset: Array) -> Shot:
    """The whole shot turned by one rotation (3, 3) and moved by (3,)."""
    return _mapped(shot, lambda v: v @ rotation.T + offset, lambda v: v @ rotation.T, lambda m: rotation @ m)


def scaled(shot: Shot, factor: float) -> Shot:
    """The whole shot grown by a factor: a bigger figure in a bigger place."""
    grown = _mapped(shot, lambda v: v * factor, lambda v: v, lambda m: m)
    return replace(grown, characters=tuple(replace(c, height=c.height * factor) for c in grown.characters))


_FLIP = np.diag([-1.0, 1.0, 1.0])


def mirrored(shot: Shot) -> Shot:
    """The shot mirrored at x = 0, left and right exchanged."""
    flipped = _mapped(shot, lambda v: v @ _FLIP, lambda v: v @ _FLIP, lambda m: _FLIP @ m @ _FLIP)
    return replace(flipped, characters=tuple(_swap_sides(c) for c in flipped.characters))


def _swap_sides(c: Character) -> Character:
    soles = tuple(replace(s, side="R" if s.side == "L" else "L") for s in c.soles)
    return replace(
        c,
        parts=tuple(body.mirror(p) for p in c.parts),
        soles=soles,
        goals=tuple(replace(g, part=body.mirror(g.part)) for g in c.goals),
        controls={body.mirror(part): behind for part, behind in c.controls.items()},
    )


def _mapped(
    shot: Shot, place: Callable[[Array], Array], direction: Callable[[Array], Array], axes: Callable[[Array], Array]
) -> Shot:
    def one(c: Character) -> Character:
        def maybe(a: Array | None) -> Array | None:
            return None if a is None else axes(a)

        return replace(
            c,
            heads=place(c.heads),
            tails=place(c.tails),
            axes=maybe(c.axes),
            twist_axes=maybe(c.twist_axes),
            rest_heads=place(c.rest_heads),
            rest_tails=place(c.rest_tails),
            rest_axes=axes(c.rest_axes),
            up=direction(c.up),
            forward=direction(c.forward),
            goals=tuple(replace(g, place=place(g.place), reach=place(g.reach)) for g in c.goals),
            soles=tuple(replace(s, points=place(s.points)) for s in c.soles),
        )

    matrix = np.eye(4)
    matrix[:3, 3] = place(np.zeros(3))
    matrix[:3, :3] = (place(np.eye(3)) - matrix[:3, 3]).T
    return replace(
        shot,
        characters=tuple(one(c) for c in shot.characters),
        surfaces=tuple(replace(s, world=matrix @ s.world) for s in shot.surfaces),
        props=tuple(replace(p, origin=place(p.origin), axes=axes(p.axes),
                            center=None if p.center is None else place(p.center)) for p in shot.props),
    )
