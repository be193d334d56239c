# SPDX-License-Identifier: GPL-3.0-or-later
"""What the body map looks at: the rest pose of one or more armatures as arrays. Nothing here knows Blender."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Skeleton:
    """The rest pose of B bones, in world meters.

    names, armatures: per bone, its name and its armature's. parents (B,) int, the index of the parent bone, -1 at a
    root; a parent may stand anywhere in the order. heads, tails (B, 3); axes (B, 3, 3), columns = the bone's x, y, z
    in the world. deform (B,) bool, the deform flag. weight (B,) float, summed skin weights, 0 where no skin hangs.
    goals: bones that are targets or poles of inverse kinematics. up: where up is in the scene.
    """

    names: tuple[str, ...]
    armatures: tuple[str, ...]
    parents: Array
    heads: Array
    tails: Array
    axes: Array
    deform: Array
    weight: Array
    goals: tuple[int, ...] = ()
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)

    def __post_init__(self) -> None:
        n = len(self.names)
        if len(self.armatures) != n:
            raise ValueError(f"Skeleton.armatures: expected {n} names, got {len(self.armatures)}")
        shapes: dict[str, tuple[tuple[int, ...], Any]] = {
            "parents": ((n,), int),
            "heads": ((n, 3), float),
            "tails": ((n, 3), float),
            "axes": ((n, 3, 3), float),
            "deform": ((n,), bool),
            "weight": ((n,), float),
        }
        for name, (shape, dtype) in shapes.items():
            array = np.asarray(getattr(self, name), dtype).view()
            if array.shape != shape:
                raise ValueError(f"Skeleton.{name}: expected shape {shape}, got {array.shape}")
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def __len__(self) -> int:
        return len(self.names)

    def label(self, bone: int) -> str:
        """The bone as people write it: 'armature/bone' where there are several armatures, else 'bone'."""
        return f"{self.armatures[bone]}/{self.names[bone]}" if len(set(self.armatures)) > 1 else self.names[bone]

    def where(self, text: str) -> list[int]:
        """All bones meant by 'bone' or 'armature/bone'; a bone's own name may hold a slash."""
        plain = [i for i, name in enumerate(self.names) if name == text]
        return plain or [i for i, name in enumerate(self.names) if f"{self.armatures[i]}/{name}" == text]


def length_of(v: Array) -> float:
    """The length of one direction (3,): numpy's own norm takes five times as long for it."""
    return sqrt(v.dot(v))


def merge(skeletons: Sequence[Skeleton]) -> Skeleton:
    """One skeleton out of those of several armatures; bones keep their order, indices are shifted."""
    if len(skeletons) == 1:
        return skeletons[0]
    if not skeletons:
        raise ValueError("merge: at least one skeleton is needed")
    starts = np.cumsum([0] + [len(s) for s in skeletons])
    return Skeleton(
        names=tuple(n for s in skeletons for n in s.names),
        armatures=tuple(n for s in skeletons for n in s.armatures),
        parents=np.concatenate(
            [np.where(s.parents < 0, -1, s.parents + a) for s, a in zip(skeletons, starts, strict=False)]
        ),
        heads=np.concatenate([s.heads for s in skeletons]),
        tails=np.concatenate([s.tails for s in skeletons]),
        axes=np.concatenate([s.axes for s in skeletons]),
        deform=np.concatenate([s.deform for s in skeletons]),
        weight=np.concatenate([s.weight for s in skeletons]),
        goals=tuple(int(g + a) for s, a in zip(skeletons, starts, strict=False) for g in s.goals),
        up=skeletons[0].up,
    )
