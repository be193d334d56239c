# SPDX-License-Identifier: GPL-3.0-or-later
"""Figures that a test poses by numbers: a skeleton of body parts, forward kinematics, and a Shot from both.

The figure stands with its feet on z = 0, faces -Y, and has its left at +X, as Blender's own figures do.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from .. import body
from ..shot import Character, Shot

Array = np.ndarray

# Adult of 1.75 m in a relaxed stand, knees and elbows a little bent: part -> (head, tail), meters; left side.
# Proportions from memory of an average adult; only the laws of tests rest on them, no limit does.
_ADULT = {
    "pelvis": ((0, 0, 0.94), (0, 0, 1.05)),
    "spine": ((0, 0, 1.05), (0, 0, 1.22)),
    "chest": ((0, 0, 1.22), (0, 0, 1.46)),
    "neck": ((0, 0, 1.46), (0, -0.01, 1.55)),
    "head": ((0, -0.01, 1.55), (0, -0.01, 1.75)),
    "clavicle.L": ((0.02, 0, 1.42), (0.18, 0, 1.43)),
    "upper_arm.L": ((0.18, 0, 1.43), (0.21, 0.02, 1.14)),
    "forearm.L": ((0.21, 0.02, 1.14), (0.23, -0.05, 0.89)),
    "hand.L": ((0.23, -0.05, 0.89), (0.23, -0.07, 0.71)),
    "thigh.L": ((0.09, 0, 0.92), (0.09, -0.025, 0.50)),
    "shin.L": ((0.09, -0.025, 0.50), (0.09, 0.02, 0.08)),
    "foot.L": ((0.09, 0.02, 0.08), (0.09, -0.11, 0.02)),
    "toe.L": ((0.09, -0.11, 0.02), (0.09, -0.18, 0.015)),
}


@dataclass(frozen=True)
class Puppet:
    """A rest skeleton: parts in parent-first order; heads, tails (P, 3) m; axes (P, 3, 3), columns x, y (along), z."""

    parts: tuple[str, ...]
    heads: Array
    tails: Array
    axes: Array
    up: Array
    forward: Array

    def parent_of(self, part: str) -> int:
        """Index of the nearest mapped part above, or -1."""
        above = body.parent(part)
        while above is not None and above not in self.parts:
            above = body.parent(above)
        return self.parts.index(above) if above is not None else -1


def bone_axes(heads: Array, tails: Array, roll: Array | float = 0.0) -> Array:
    """Axes (P, 3, 3) of bones with y from head to tail, rolled by ``roll`` radians about it."""
    y = tails - heads
    y = y / np.maximum(np.linalg.norm(y, axis=-1, keepdims=True), 1e-12)
    seed = np.where(np.abs(y[:, :1]) < 0.9, [[1.0, 0, 0]], [[0, 0, 1.0]])
    z = np.cross(seed, y)
    z /= np.linalg.norm(z, axis=-1, keepdims=True)
    x = np.cross(y, z)
    c, s = np.cos(roll) * np.ones(len(y)), np.sin(roll) * np.ones(len(y))
    return np.stack([c[:, None] * x + s[:, None] * z, y, c[:, None] * z - s[:, None] * x], -1)


def adult(scale: float = 1.0, roll: Array | float = 0.0) -> Puppet:
    """The standing adult, with any bone roll."""
    return _adult(scale, float(roll)) if np.ndim(roll) == 0 else _made(scale, roll)


@cache
def _adult(scale: float, roll: float) -> Puppet:
    puppet = _made(scale, roll)
    for array in (puppet.heads, puppet.tails, puppet.axes, puppet.up, puppet.forward):
        array.flags.writeable = False  # it is shared
    return puppet


def _made(scale: float, roll: Array | float) -> Puppet:
    table = {}
    for part in body.PARTS:
        source = _ADULT[part if part in _ADULT else body.mirror(part)]
        sign = np.array([1.0 if part in _ADULT else -1.0, 1.0, 1.0])
        table[part] = (np.array(source[0], float) * sign * scale, np.array(source[1], float) * sign * scale)
    heads = np.array([table[p][0] for p in body.PARTS])
    tails = np.array([table[p][1] for p in body.PARTS])
    return Puppet(
        body.PARTS, heads, tails, bone_axes(heads, tails, roll), np.array([0.0, 0, 1]), np.array([0.0, -1, 0])
    )


def pose(puppet: Puppet, turns: dict[str, Array], travel: Array) -> tuple[Array, Array, Array]:
    """Forward kinematics. turns: part -> (F, 3, 3) rotation against its parent, in the rest world's axes; travel
    (F, 3).

    Returns heads (F, P, 3), tails (F, P, 3), axes (F, P, 3, 3).
    """
    f = len(travel)
    p = len(puppet.parts)
    total: list[Array | None] = []  # (F, 3, 3) each; None: as at rest
    heads, tails, axes = np.empty((f, p, 3)), np.empty((f, p, 3)), np.empty((f, p, 3, 3))
    for i, part in enumerate(puppet.parts):
        above, own = puppet.parent_of(part), turns.get(part)
        over = None if above < 0 else total[above]
        now = own if over is None else over if own is None else over @ own
        total.append(now)
        arm, bone = puppet.heads[i] - puppet.heads[above], puppet.tails[i] - puppet.heads[i]
        heads[:, i] = puppet.heads[i] + travel if above < 0 else heads[:, above] + (arm if over is None else over @ arm)
        tails[:, i] = heads[:, i] + (bone if now is None else now @ bone)
        axes[:, i] = puppet.axes[i] if now is None else now @ puppet.axes[i]
    return heads, tails, axes


def character_of(puppet: Puppet, heads: Array, tails: Array, axes: Array, name: str = "Keeper") -> Character:
    """A Character from posed arrays, its twist true everywhere."""
    return Character(
        name=name,
        parts=puppet.parts,
        bones=puppet.parts,
        heads=heads,
        tails=tails,
        axes=axes,
        twist_axes=axes,
        rest_heads=puppet.heads,
        rest_tails=puppet.tails,
        rest_axes=puppet.axes,
        scale=np.ones(len(heads)),
        up=puppet.up,
        forward=puppet.forward,
        height=float(np.ptp(np.concatenate([puppet.heads, puppet.tails]) @ puppet.up)),
        reasons=tuple("by construction" for _ in puppet.parts),
    )


def shot_of(character: Character, fps: float = 24.0, first: int = 1, name: str = "test") -> Shot:
    """A Shot of one character, one sample a frame."""
    return Shot(
        name=name, frames=first + np.arange(len(character.heads), dtype=float), fps=fps, characters=(character,)
    )


def act(turns: dict[str, Array], travel: Array, fps: float = 24.0, puppet: Puppet | None = None) -> Shot:
    """The adult (or another puppet) posed by turns and travel, as a Shot."""
    puppet = puppet or adult()
    return shot_of(character_of(puppet, *pose(puppet, turns, travel)), fps)
