# SPDX-License-Identifier: GPL-3.0-or-later
"""Which copies of a mapped bone may carry its true twist: skin bones are often split, and share the twist out."""


from . import names
from .skeleton import Array, Skeleton, length_of

SAME_M = 0.001
#: Copies by their prefix, best first; goals and widgets carry no twist.
_RANK = {"org": 0, "drv": 1, "def": 3, "fk": 4, "mch": 5}
_NEVER = frozenset(["ik", "pole", "target", "vis", "tweak", "goal", "handle"])


def copies_of(
    sk: Skeleton, bone: int, next_joint: Array | None, raw: list[tuple[str, ...]], unsplit: bool
) -> tuple[int, ...]:
    """Bones whose head lies within 1 mm of the bone's and whose tail reaches the next joint, best first.

    next_joint (3,): where the part ends, world m, None for a last part. unsplit: whether the mapped bone itself is
    whole; it then leads the list.
    """
    apart = sk.heads - sk.heads[bone]
    near = (apart[:, 0] ** 2 + apart[:, 1] ** 2 + apart[:, 2] ** 2 <= SAME_M**2).nonzero()[0].tolist()
    if near == [bone]:  # as most are
        return (bone,) if unsplit else ()
    along = (next_joint if next_joint is not None else sk.tails[bone]) - sk.heads[bone]
    length = length_of(along)
    found = []
    for i in near:
        if i == bone or i in sk.goals or any(t in _NEVER for t in raw[i]) or length <= 0:
            continue
        own = sk.tails[i] - sk.heads[i]
        if length_of(own - along) <= 0.06 * length:
            found.append(i)

    def rank(i: int) -> tuple[int, int]:
        known = [_RANK[t] for t in raw[i] if t in _RANK]
        control = 4 if names.is_control(raw[i]) else 2
        return (min(known) if known else control), i

    found.sort(key=rank)
    return (bone, *found) if unsplit else tuple(found)
