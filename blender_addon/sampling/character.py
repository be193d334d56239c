# SPDX-License-Identifier: GPL-3.0-or-later
"""From the matrices of a sweep to one Character of the core."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from ...core import body
from ...core.need import Need
from ...core.shot import Character, Control, Goal, Keys, Sole
from .armatures import Member
from .readers import PlaceReader, PoseReader, carried
from .rigs import Rig

Array = np.ndarray

#: A copy of a limb's bone lends its twist while it stays this near to the skin's bone, as a share of the leg: 1 mm on
#: a person.
TWIST_GAP = 0.0012

#: Figures smaller than this, meters, are lost in Blender's own rounding.
LEAST_SIZE = 1e-3


@dataclass(frozen=True)
class Bones:
    """Bones of one character in the world, all frames: heads, tails (F, n, 3) meters; axes (F, n, 3, 3) right-handed;
    rest_heads, rest_tails (n, 3), rest_axes (n, 3, 3)."""

    heads: Array
    tails: Array
    axes: Array
    rest_heads: Array
    rest_tails: Array
    rest_axes: Array


class Places:
    """World matrices of rigs: their own and those of what instances them."""

    def __init__(self, places: Mapping[int, PlaceReader]) -> None:
        self._places = places
        self._known: dict[Any, Array] = {}

    def of(self, rig: Rig) -> Array:
        """(F or 1, 4, 4) in scene units."""
        key = (rig.object.session_uid, tuple(c.session_uid for c, _ in rig.carriers))
        if key not in self._known:
            world = self._places[rig.object.session_uid].matrices()
            for carrier, offset in reversed(rig.carriers):
                shift = np.eye(4)
                shift[:3, 3] = -np.array(offset)
                world = self._places[carrier.session_uid].matrices() @ shift @ world
            self._known[key] = world
        return self._known[key]


def bones_of(
    rig: Rig, names: Sequence[str], reader: PoseReader, world: Array, unit: float, rotations: bool = True
) -> Bones:
    """The named bones of one rig; unit: meters per scene unit."""
    data = rig.object.data.bones
    lengths = np.array([data[name].length for name in names])
    places, axes = carried(world, reader.rows(names))
    heads = places * unit
    tails = (places + axes[..., :, 1] * lengths[:, None]) * unit
    rest = np.array([[tuple(row) for row in data[name].matrix_local] for name in names], float).reshape(-1, 4, 4)
    rest_places, rest_axes = carried(world[:1], rest[:, :3].transpose(1, 2, 0)[..., None])
    return Bones(
        heads,
        tails,
        unscaled(axes) if rotations else axes,
        rest_places[0] * unit,
        (rest_places[0] + rest_axes[0][..., :, 1] * lengths[:, None]) * unit,
        unscaled(rest_axes)[0],
    )


def unscaled(axes: Array) -> Array:
    """Columns made unit length, square to each other and right-handed.

    The bone's own direction (y) is kept as it is. Under a negative scale x is turned round, in rest and pose alike,
    so that
    turns from the rest pose come out as they are.
    """
    length = _lengths(axes)[..., None, :]
    out: Array = axes / np.where(length > 0, length, 1.0)
    (x0, x1, x2), (y0, y1, y2), (z0, z1, z2) = ([out[..., i, k] for i in range(3)] for k in range(3))
    volume = (x1 * y2 - x2 * y1) * z0 + (x2 * y0 - x0 * y2) * z1 + (x0 * y1 - x1 * y0) * z2
    left_handed = volume < 0
    skew = (np.abs(x0 * y0 + x1 * y1 + x2 * y2) > 1e-5) | (np.abs(np.abs(volume) - 1.0) > 1e-5)
    if left_handed.any():
        out[left_handed, :, 0] *= -1
    if skew.any():
        sx, sy = out[skew, :, 0], out[skew, :, 1]
        sz = np.cross(sx, sy)
        sz /= np.maximum(np.linalg.norm(sz, axis=-1, keepdims=True), 1e-12)
        out[skew] = np.stack([np.cross(sy, sz), sy, sz], -1)
    return out


def _lengths(axes: Array) -> Array:
    """(…, 3) of the columns of (…, 3, 3)."""
    first, second, third = axes[..., 0, :], axes[..., 1, :], axes[..., 2, :]
    return np.asarray(np.sqrt(first * first + second * second + third * third))


def unplaceable(world: Array) -> str | None:
    """Why an armature under these world matrices (F or 1, 4, 4) cannot be measured, or None."""
    if not np.isfinite(world).all():
        return "its place, turn or scale is not a number"
    if np.linalg.norm(world[:, :3, :3], axis=1).min() < 1e-9 or np.abs(np.linalg.det(world[:, :3, :3])).min() < 1e-20:
        return "it is scaled to zero"
    return None


def scale_of(world: Array, frames: int) -> Array:
    """(F,) the uniform scale of an armature over its first."""
    size = np.cbrt(np.abs(np.linalg.det(world[:, :3, :3])))
    return np.broadcast_to(size / size[0], (frames,))


def character_of(
    member: Member,
    poses: Mapping[int, PoseReader],
    places: Places,
    unit: float,
    frames: int,
    needs: Need,
    *,
    goals: tuple[Goal, ...] = (),
    soles: tuple[Sole, ...] = (),
    keys: Keys | None = None,
    controls: Mapping[str, tuple[Control, ...]] = MappingProxyType({}),
    standing: float | None = None,
) -> tuple[Character | None, list[str]]:
    """The sampled character and remarks on it; None where not one of its parts has a place.

    standing: the skin's extent along the figure's up at rest, meters, where it is known.
    """
    parts = [p for p in body.PARTS if p in member.map.parts]
    warnings = [*member.map.warnings, *member.warnings]
    warnings += [
        f"{rig.name} has a negative scale, so it stands mirrored: its left limbs are on its right"
        for rig in member.rigs
        if np.linalg.det(places.of(rig)[0, :3, :3]) < 0
    ]
    table = _gather(member, [member.map.parts[p] for p in parts], poses, places, unit)
    good = (
        np.isfinite(table.heads).all((0, 2))
        & np.isfinite(table.tails).all((0, 2))
        & np.isfinite(table.axes).all((0, 2, 3))
    )
    # people hide a limb by scaling its bone to nothing: that leaves no direction to measure
    solid = np.asarray((_lengths(table.axes) > 0.5).all((0, 2)))
    remarks = []
    for p, fine, thick in zip(parts, good, solid, strict=True):
        if not (fine and thick):
            bone = member.skeleton.label(member.map.parts[p])
            why = "is scaled to zero on some frames" if fine else "has no place on some frames (not a number)"
            remarks.append(f"{member.name}: the bone {bone} {why}, so the {body.spoken(p)} is left out")
    lacking = "are scaled to zero" if good.any() else "have no place (not a number)"
    good = good & solid
    parts = [p for p, fine in zip(parts, good, strict=True) if fine]
    tall = float(np.ptp(np.concatenate([table.rest_heads, table.rest_tails]), axis=0).max())
    if tall < LEAST_SIZE:
        return None, [f"{member.name} is not measured: its bones have no length (it is {tall:.1g} m tall at rest)"]
    if not parts:
        return None, [f"{member.name} is not measured: its bones {lacking}"]
    if not good.all():
        table = Bones(
            table.heads[:, good],
            table.tails[:, good],
            table.axes[:, good],
            table.rest_heads[good],
            table.rest_tails[good],
            table.rest_axes[good],
        )
    flat = [
        member.skeleton.label(member.map.parts[p])
        for p in parts
        if float(
            member.rig_of(member.map.parts[p]).object.data.bones[member.skeleton.names[member.map.parts[p]]].length
        )
        < 2e-6  # Blender itself takes shorter ones away
    ]
    if flat:
        warnings.append(f"zero-length bones have no direction: {', '.join(flat)}")
    rotations = Need.ROTATIONS in needs
    up, forward = np.asarray(member.map.up, float), np.asarray(member.map.forward, float)
    main = member.rigs[0] if len(member.rigs) == 1 else member.rig_of(member.map.parts[parts[0]])
    character = Character(
        name=member.name,
        parts=tuple(parts),
        bones=tuple(member.skeleton.label(member.map.parts[p]) for p in parts),
        heads=table.heads,
        tails=table.tails,
        axes=table.axes if rotations else None,
        rest_heads=table.rest_heads,
        rest_tails=table.rest_tails,
        rest_axes=table.rest_axes,
        scale=scale_of(places.of(main), frames),
        up=up,
        forward=forward,
        twist_axes=_twists(member, parts, table, poses, places, unit) if rotations else None,
        height=_height(table, up, standing),
        card=member.card,
        goals=goals,
        soles=soles,
        keys=keys,
        controls=controls,
        reasons=tuple(str(member.map.reasons.get(p, "")) for p in parts),
        warnings=tuple(dict.fromkeys(warnings)),
        human=member.map.human,
    )
    return character, remarks


def _gather(
    member: Member, bones: Sequence[int], poses: Mapping[int, PoseReader], places: Places, unit: float
) -> Bones:
    """Bones of the skeleton, in this order, out of one or several armatures."""
    if len(member.rigs) == 1:
        rig = member.rigs[0]
        names = [member.skeleton.names[b] for b in bones]
        return bones_of(rig, names, poses[rig.object.session_uid], places.of(rig), unit)
    pieces: list[Any] = [None] * len(bones)
    for rig in member.rigs:
        rows = [k for k, b in enumerate(bones) if member.skeleton.armatures[b] == rig.name]
        if rows:
            some = bones_of(
                rig,
                [member.skeleton.names[bones[k]] for k in rows],
                poses[rig.object.session_uid],
                places.of(rig),
                unit,
            )
            for j, k in enumerate(rows):
                pieces[k] = (
                    some.heads[:, j],
                    some.tails[:, j],
                    some.axes[:, j],
                    some.rest_heads[j],
                    some.rest_tails[j],
                    some.rest_axes[j],
                )
    return Bones(*(np.stack([piece[c] for piece in pieces], 1 if c < 3 else 0) for c in range(6)))


def _twists(
    member: Member, parts: Sequence[str], table: Bones, poses: Mapping[int, PoseReader], places: Places, unit: float
) -> Array:
    """(F, P, 3, 3): how the copy with true twist turns, carried on the mapped bone's rest axes; NaN where no copy
    stays near.
    """
    row = {p: k for k, p in enumerate(parts)}
    out = table.axes  # itself, where every part tells its own twist: then no one needs to read it twice
    legs = [
        np.linalg.norm(table.rest_heads[row[f"shin.{s}"]] - table.rest_heads[row[f"thigh.{s}"]]) * 2
        for s in body.SIDES
        if f"shin.{s}" in row and f"thigh.{s}" in row
    ]
    size = float(np.mean(legs)) if legs else float(np.ptp(table.rest_heads, axis=0).max())
    for k, p in enumerate(parts):
        copies = member.map.copies.get(p, ())
        if not copies or copies[0] == member.map.parts[p]:
            continue
        if out is table.axes:
            out = out.copy(order="K")
        out[:, k] = np.nan
        for b in copies:
            one = _gather(member, [b], poses, places, unit)
            turn = one.axes[:, 0] @ one.rest_axes[0].T
            tail = one.heads[:, 0] + np.einsum("fij,j->fi", turn, table.rest_tails[k] - table.rest_heads[k])
            apart = np.maximum(
                np.linalg.norm(one.heads[:, 0] - table.heads[:, k], axis=-1),
                np.linalg.norm(tail - table.tails[:, k], axis=-1),
            )
            if np.nanmax(apart) <= TWIST_GAP * size:
                out[:, k] = turn @ table.rest_axes[k]
                break
    return out


def _height(table: Bones, up: Array, standing: float | None) -> float:
    """Standing extent of the rest pose along up: of the skin where that spans the joints and does not tower over the
    bones, else of the bones, whose last tails may be an importer's guess.
    """
    joints = float(np.ptp(table.rest_heads @ up))
    bones = float(np.ptp(np.concatenate([table.rest_heads, table.rest_tails]) @ up))
    if standing is not None and 0.95 * joints <= standing <= 1.5 * bones:
        return standing
    return bones
