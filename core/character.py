# SPDX-License-Identifier: GPL-3.0-or-later
"""One character, sampled: its joints, axes, soles and goals, as arrays. Nothing here knows Blender.

F frames, P parts, S sole points. Places are world meters; axes are (…, 3, 3) with an object's x, y and z axes in the
world as columns.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from . import body
from .card import Card
from .frozen import freeze, rows_of
from .keys import Control, Keys
from .need import Need

Array = np.ndarray


@dataclass(frozen=True)
class Goal:
    """The target of an inverse-kinematics chain that ends at the end of ``part``'s limb.

    part is the limb's end ('foot.L', 'hand.R'); place (F, 3) where the target is, reach (F, 3) where the chain's
    end is,
    influence (F,) of the constraint.
    """

    part: str
    place: Array
    reach: Array
    influence: Array

    def __post_init__(self) -> None:
        freeze(self, "place", (None, 3))
        n = len(self.place)
        freeze(self, "reach", (n, 3))
        freeze(self, "influence", (n,))


SOLE_POINTS = ("heel", "heel_inner", "heel_outer", "ball", "ball_inner", "ball_outer", "toe_tip")
#: The sole's outline, walked round: indices into SOLE_POINTS.
SOLE_OUTLINE = [
    SOLE_POINTS.index(p) for p in ("heel", "heel_outer", "ball_outer", "toe_tip", "ball_inner", "heel_inner")
]


@dataclass(frozen=True)
class Sole:
    """The underside of one foot at rest: points (7, 3) in rest world meters, in the order of SOLE_POINTS.

    Heel and ball ride rigidly on the foot bone, the toe tip on the toe bone (on the foot where there is none).
    ``source`` is 'mesh', 'card' or 'guess'.
    """

    side: str
    points: Array
    source: str

    def __post_init__(self) -> None:
        freeze(self, "points", (len(SOLE_POINTS), 3))


@dataclass(frozen=True)
class SkinMass:
    """Room that the skin takes up at rest, part by part. parts, N of them; volume (N,) m3; center (N, 3) in the rest
    world, m; moments (N, 3, 3), mean of x x^T about the center, m2. astray: share of the room that lies near no skin of
    a mapped part, and counts nowhere."""

    parts: tuple[str, ...]
    volume: Array
    center: Array
    moments: Array
    astray: float = 0.0

    def __post_init__(self) -> None:
        n = len(self.parts)
        freeze(self, "volume", (n,))
        freeze(self, "center", (n, 3))
        freeze(self, "moments", (n, 3, 3))


@dataclass(frozen=True)
class Character:
    """One character, sampled.

    parts: names from body.PARTS, P of them; bones: the bone of each part ('bone' or 'armature/bone').
    heads, tails (F, P, 3); axes (F, P, 3, 3), of the skin's bone; twist_axes (F, P, 3, 3), of the copy of the bone
    whose
    twist stays true, NaN where there is none. rest_heads, rest_tails (P, 3), rest_axes (P, 3, 3): the rest pose
    carried into
    the world by the armature's first sampled place. scale (F,): the armature's uniform scale over its first.
    up, forward (3,): the figure's own directions in that rest pose.
    skin: the room that its skin takes up, where that was read.
    reasons: one sentence a part, why this bone. keys: those of its armatures and of whatever else moves it; controls:
    part -> what is keyed to move it against the part that carries it, empty where that was not looked for.
    """

    name: str
    parts: tuple[str, ...]
    bones: tuple[str, ...]
    heads: Array
    tails: Array
    axes: Array | None
    rest_heads: Array
    rest_tails: Array
    rest_axes: Array
    scale: Array
    up: Array
    forward: Array
    twist_axes: Array | None = None
    height: float = 0.0
    card: Card = field(default_factory=Card)
    goals: tuple[Goal, ...] = ()
    soles: tuple[Sole, ...] = ()
    skin: SkinMass | None = None
    keys: Keys | None = None
    controls: Mapping[str, tuple[Control, ...]] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    human: bool = True

    def __post_init__(self) -> None:
        p = len(self.parts)
        unknown = [part for part in self.parts if part not in body.PARTS]
        if unknown or len(set(self.parts)) != p or len(self.bones) != p:
            raise ValueError(
                f"Character.parts: unknown or repeated parts, or not one bone each: {unknown or self.parts}"
            )
        freeze(self, "heads", (None, p, 3))
        f = len(self.heads)
        freeze(self, "tails", (f, p, 3))
        for name in ("axes", "twist_axes"):
            freeze(self, name, (f, p, 3, 3))
        freeze(self, "rest_heads", (p, 3))
        freeze(self, "rest_tails", (p, 3))
        freeze(self, "rest_axes", (p, 3, 3))
        freeze(self, "scale", (f,))
        freeze(self, "up", (3,))
        freeze(self, "forward", (3,))

    @cached_property
    def index(self) -> dict[str, int]:
        return {part: i for i, part in enumerate(self.parts)}

    def has(self, *parts: str) -> bool:
        return self.index.keys() >= set(parts)

    # The same numbers once more, frames last: what reads one part of them all then runs along rows of memory.

    @cached_property
    def head_rows(self) -> Array:
        """Heads as (3, P, F)."""
        return rows_of(self.heads)

    @cached_property
    def tail_rows(self) -> Array:
        """Tails as (3, P, F)."""
        return rows_of(self.tails)

    @cached_property
    def axes_rows(self) -> Array | None:
        """Axes as (3, 3, P, F), row and column first."""
        return None if self.axes is None else rows_of(self.axes)

    @cached_property
    def twist_rows(self) -> Array | None:
        """Twist axes as (3, 3, P, F)."""
        if self.twist_axes is None:
            return None
        # what was given one array for both keeps one: views know their memory by its address
        if self.axes is not None and self.axes.__array_interface__ == self.twist_axes.__array_interface__:
            return self.axes_rows
        return rows_of(self.twist_axes)

    def head(self, part: str) -> Array:
        """Joint center at which the part begins, (F, 3)."""
        return self.head_rows[:, self.index[part]].T

    def end(self, part: str) -> Array:
        """Where the part ends, (F, 3): the next joint's head, or its own tail where the body ends or a part is
        missing."""
        following = body.next_part(part)
        if following is not None and following in self.index:
            return self.head_rows[:, self.index[following]].T
        return self.tail_rows[:, self.index[part]].T

    def rest_end(self, part: str) -> Array:
        following = body.next_part(part)
        if following is not None and following in self.index:
            return self.rest_heads[self.index[following]]
        return self.rest_tails[self.index[part]]

    def rest_head(self, part: str) -> Array:
        return self.rest_heads[self.index[part]]

    def rest_length(self, part: str) -> float:
        if part not in self._rest_lengths:
            self._rest_lengths[part] = float(np.linalg.norm(self.rest_end(part) - self.rest_head(part)))
        return self._rest_lengths[part]

    @cached_property
    def _rest_lengths(self) -> dict[str, float]:
        """What ``rest_length`` was asked for so far."""
        return {}

    @cached_property
    def leg_length(self) -> float:
        """Hip to knee to ankle at rest, meters: the character's own yardstick. Without legs, 0.47 of its height."""
        lengths = [
            self.rest_length(f"thigh.{s}") + self.rest_length(f"shin.{s}")
            for s in body.SIDES
            if self.has(f"thigh.{s}", f"shin.{s}", f"foot.{s}")
        ]
        return float(np.mean(lengths)) if lengths else 0.47 * self.height

    @property
    def real_size(self) -> float:
        """Real meters that one measured meter stands for: the card's height over the figure's, else 1."""
        return self.card.height / self.height if self.card.height and self.height > 0 else 1.0

    @property
    def size_is_known(self) -> bool:
        """False for a figure under 0.4 m or over 3 m whose card does not say what height it stands for."""
        return bool(self.card.height) or 0.4 <= self.height <= 3.0

    def only(self, need: Need) -> "Character":
        """This character with everything but ``need`` taken away."""
        return replace(
            self,
            axes=self.axes if Need.ROTATIONS in need else None,
            twist_axes=self.twist_axes if Need.ROTATIONS in need else None,
            goals=self.goals if Need.GOALS in need else (),
            keys=self.keys if Need.KEYS in need else None,
            controls=self.controls if Need.KEYS in need else {},
            soles=self.soles if Need.ROTATIONS in need else (),
            skin=self.skin if Need.VOLUMES in need else None,
        )
