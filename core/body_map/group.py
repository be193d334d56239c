# SPDX-License-Identifier: GPL-3.0-or-later
"""Which armatures make one character (body, face, hat), and which are characters of their own."""

from collections.abc import Sequence

import numpy as np

from .find import find
from .result import BodyMap
from .skeleton import Skeleton

#: Share of an armature's joints that must lie within a body's bounds, and by which share those are widened.
INSIDE, WIDER = 0.8, 0.05


def group(
    skeletons: Sequence[Skeleton],
    carriers: Sequence[int] = (),
    meshes: Sequence[Sequence[int]] = (),
    maps: Sequence[BodyMap] | None = None,
) -> list[tuple[int, ...]]:
    """Armatures by character: tuples of indices into ``skeletons``, the body's armature first.

    carriers: per armature the one that it is parented or constrained to, -1 for none. meshes: for each skinned mesh
    the armatures that bend it. maps: the skeletons' own body maps, where they are known. An armature without a body
    joins the body that carries it, that it shares a mesh with, or within whose bounds it lies; two bodies with legs
    are never one (a rider is not the horse). Armatures that belong to no body stay alone: their own map has no legs.
    """
    n = len(skeletons)
    known = [find(s) for s in skeletons] if maps is None else list(maps)
    legged = ["pelvis" in m.parts and m.limbs >= 2 for m in known]
    top = list(range(n))

    def root(i: int) -> int:
        while top[i] != i:
            i = top[i]
        return i

    def join(i: int, j: int) -> None:
        a, b = root(i), root(j)
        if a == b or (legged[a] and legged[b]):
            return
        keep, lose = (b, a) if legged[b] or (not legged[a] and b < a) else (a, b)
        top[lose] = keep

    for i, carrier in enumerate(carriers):
        if 0 <= carrier < n:
            join(i, carrier)
    for users in meshes:
        for other in users[1:]:
            join(users[0], other)
    for i in range(n):
        if not legged[root(i)]:
            host = _within(skeletons[i], [k for k in range(n) if legged[k]], skeletons)
            if host is not None:
                join(i, host)
    groups: dict[int, list[int]] = {}
    for i in range(n):
        groups.setdefault(root(i), []).append(i)
    return [(r, *(i for i in members if i != r)) for r, members in sorted(groups.items())]


def _within(skeleton: Skeleton, bodies: Sequence[int], skeletons: Sequence[Skeleton]) -> int | None:
    """The one body within whose bounds the armature's joints lie; None where none or several claim it."""
    if not len(skeleton):
        return None
    claims = []
    for k in bodies:
        points = np.vstack([skeletons[k].heads, skeletons[k].tails])
        low, high = points.min(0), points.max(0)
        margin = WIDER * float((high - low).max())
        inside = ((skeleton.heads >= low - margin) & (skeleton.heads <= high + margin)).all(1)
        if inside.mean() >= INSIDE:
            claims.append(k)
    return claims[0] if len(claims) == 1 else None
