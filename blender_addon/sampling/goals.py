# SPDX-License-Identifier: GPL-3.0-or-later
"""Inverse-kinematics goals of a character's limbs: where each target is, and where the chain ends.

The constraint may sit on the mapped bones or on a copy of the limb that no skin hangs on (Rigify's MCH bones), so
chains
are matched by where they stand at rest, and a goal counts only on frames on which the mapped limb goes with that chain.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.body import LIMBS
from ...core.shot import Goal
from ..compat import curves_of
from .armatures import Member
from .character import Places
from .readers import PlaceReader, PoseReader
from .rigs import Rig

Array = np.ndarray

#: How far a chain may stand from the limb at rest, and how far its middle joint from the limb's in motion, over limb
#: length.
AT_REST, IN_MOTION = 0.06, 0.01


@dataclass(frozen=True, eq=False)
class Chain:
    """One constraint whose chain is (a copy of) a limb. bone: its owner; joint: the chain's bone that begins at the
    middle joint.
    """

    limb: str
    rig: Rig
    bone: str
    joint: str
    uses_tail: bool
    constraint: str
    target: Any
    subtarget: str
    animated: bool

    @property
    def bones(self) -> tuple[str, ...]:
        return self.bone, self.joint


def chains_of(member: Member) -> list[Chain]:
    """All chains that can move a mapped limb."""
    return [chain for rig in member.rigs for chain in _chains(member, rig)]


def _chains(member: Member, rig: Rig) -> Iterator[Chain]:
    skeleton, parts = member.skeleton, member.map.parts
    row = {name: i for i, name in enumerate(skeleton.names) if skeleton.armatures[i] == rig.name}
    limbs = []
    for limb, names in LIMBS.items():
        if all(p in parts for p in names):
            joints = skeleton.heads[[parts[p] for p in names]]
            limbs.append((limb, joints, np.linalg.norm(np.diff(joints, axis=0), axis=1).sum()))
    paths: set[str] | None = None
    for bone in rig.object.pose.bones:
        for constraint in bone.constraints:
            if constraint.type != "IK" or constraint.target is None or not constraint.use_location:
                continue
            links = [bone] if constraint.use_tail else []
            above = bone.parent
            while above is not None and (constraint.chain_count == 0 or len(links) < constraint.chain_count):
                links.append(above)
                above = above.parent
            if len(links) < 2:
                continue
            heads = skeleton.heads[[row[link.name] for link in links]]
            end = skeleton.tails[row[links[0].name]] if constraint.use_tail else skeleton.heads[row[bone.name]]
            for limb, joints, length in limbs:
                if length <= 0:
                    continue
                near = AT_REST * length
                knee = int(np.argmin(np.linalg.norm(heads - joints[1], axis=1)))
                begins = np.linalg.norm(heads - joints[0], axis=1).min() < near
                bends = np.linalg.norm(heads[knee] - joints[1]) < near
                ends = (
                    knee == 0 or np.linalg.norm(end - joints[2]) < near or np.linalg.norm(heads[0] - joints[2]) < near
                )
                if begins and bends and ends:
                    if paths is None:
                        paths = _animated_paths(rig.object)
                    mine = f'pose.bones["{bone.name}"].constraints["{constraint.name}"].'
                    yield Chain(
                        limb,
                        rig,
                        bone.name,
                        links[knee].name,
                        constraint.use_tail,
                        constraint.name,
                        constraint.target,
                        constraint.subtarget,
                        any(path.startswith(mine) for path in paths),
                    )
                    break


def _animated_paths(object: Any) -> set[str]:
    """Paths of the constraint settings that curves or drivers move."""
    paths = {curve.data_path for curve, _ in curves_of(object)}
    if object.animation_data is not None:
        paths |= {driver.data_path for driver in object.animation_data.drivers}
    return {path for path in paths if ".constraints[" in path}


class InfluenceReader:
    """How much a chain's constraint counts, frame by frame; read once where nothing animates it."""

    def __init__(self, chain: Chain, frames: int) -> None:
        self.chain = chain
        self.values = np.full(frames, self._now(chain.rig.object.pose.bones[chain.bone].constraints[chain.constraint]))

    @staticmethod
    def _now(constraint: Any) -> float:
        return 0.0 if constraint.mute or not constraint.enabled else float(constraint.influence)

    def read(self, i: int, graph: Any) -> None:
        if self.chain.animated:
            now = self.chain.rig.object.evaluated_get(graph)
            self.values[i] = self._now(now.pose.bones[self.chain.bone].constraints[self.chain.constraint])


Joint = Callable[[Rig, str, bool], Array]


def goals_of(
    member: Member, influences: Mapping[Chain, InfluenceReader], place: Callable[[Chain], Array | None], joint: Joint
) -> tuple[Goal, ...]:
    """The goals of a member's limbs, one a limb.

    place(chain): (F, 3) where its target is, or None where that cannot be read; joint(rig, bone, tail): (F, 3) where
    a bone's
    head or tail is, both in meters. Of several constraints on one limb the strongest counts, frame by frame.
    """
    found: dict[str, tuple[Array, Array, Array]] = {}
    skeleton, parts = member.skeleton, member.map.parts
    for chain, reader in influences.items():
        where = place(chain)
        if where is None:
            continue
        end = joint(chain.rig, chain.bone, chain.uses_tail)
        names = LIMBS[chain.limb]
        rest = skeleton.heads[[parts[p] for p in names]]
        length = np.linalg.norm(np.diff(rest, axis=0), axis=1).sum()
        middle = parts[names[1]]
        apart = np.linalg.norm(
            joint(chain.rig, chain.joint, False) - joint(member.rig_of(middle), skeleton.names[middle], False), axis=1
        )
        counts = np.where(apart <= IN_MOTION * length, reader.values, 0.0)
        if chain.limb in found:
            old = found[chain.limb]
            better = counts > old[2]
            found[chain.limb] = (
                np.where(better[:, None], where, old[0]),
                np.where(better[:, None], end, old[1]),
                np.maximum(counts, old[2]),
            )
        else:
            found[chain.limb] = (where, end, counts)
    return tuple(
        Goal(LIMBS[limb][2], *columns) for limb, columns in found.items() if columns[2].max() > 0
    )


def target_place(
    chain: Chain,
    worlds: Places,
    poses: Mapping[int, PoseReader],
    places: Mapping[int, PlaceReader],
    frames: int,
    unit: float,
) -> Array | None:
    """(F, 3) meters, where the chain's target is; None for a target that is neither an object nor a bone.

    A target that is part of the character stands where the character's instance stands.
    """
    target = chain.target
    if target.session_uid == chain.rig.object.session_uid:
        world = worlds.of(chain.rig)
    else:
        world = (
            worlds.of(Rig(target, chain.rig.carriers)) if chain.rig.carriers else places[target.session_uid].matrices()
        )
    if not chain.subtarget:
        local = np.zeros((1, 3))
    elif target.type == "ARMATURE" and chain.subtarget in target.pose.bones:
        local = poses[target.session_uid].rows([chain.subtarget])[:, 3, 0].T
    else:
        return None
    out = (world[:, :3, :3] @ local[:, :, None])[..., 0] + world[:, :3, 3]
    return np.broadcast_to(out * unit, (frames, 3))
