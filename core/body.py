# SPDX-License-Identifier: GPL-3.0-or-later
"""The words for the body's parts, and how they hang together. Finding them on a rig is ``body_map``'s job."""

from collections.abc import Sequence
from functools import cache

CENTRE = ("pelvis", "spine", "chest", "neck", "head")
LIMB_PARTS = ("clavicle", "upper_arm", "forearm", "hand", "thigh", "shin", "foot", "toe")
SIDES = ("L", "R")
PARTS = CENTRE + tuple(f"{part}.{side}" for side in SIDES for part in LIMB_PARTS)

_PARENT = {
    "spine": "pelvis",
    "chest": "spine",
    "neck": "chest",
    "head": "neck",
    "clavicle": "chest",
    "upper_arm": "clavicle",
    "forearm": "upper_arm",
    "hand": "forearm",
    "thigh": "pelvis",
    "shin": "thigh",
    "foot": "shin",
    "toe": "foot",
}

#: Two-bone limbs: name -> (root part, middle part, end part).
LIMBS = {
    f"{limb}.{side}": tuple(f"{part}.{side}" for part in parts)
    for side in SIDES
    for limb, parts in (("leg", ("thigh", "shin", "foot")), ("arm", ("upper_arm", "forearm", "hand")))
}


@cache
def base(part: str) -> str:
    """'thigh' of 'thigh.L'; 'head' of 'head'."""
    return part.partition(".")[0]


@cache
def side(part: str) -> str:
    """'L', 'R', or '' for a part of the center line."""
    return part.partition(".")[2]


@cache
def mirror(part: str) -> str:
    """The same part on the other side of the body."""
    name, dot, letter = part.partition(".")
    return part if not dot else f"{name}.{'R' if letter == 'L' else 'L'}"


@cache
def parent(part: str) -> str | None:
    """The part that this one hangs from, or None for the pelvis."""
    above = _PARENT.get(base(part))
    if above is None:
        return None
    return above if above in CENTRE else f"{above}.{side(part)}"


@cache
def children(part: str) -> tuple[str, ...]:
    """The parts that hang from this one."""
    return tuple(p for p in PARTS if parent(p) == part)


@cache
def descendants(part: str) -> tuple[str, ...]:
    """All parts below this one, parents before children."""
    found: list[str] = []
    waiting = list(children(part))
    while waiting:
        p = waiting.pop(0)
        found.append(p)
        waiting.extend(children(p))
    return tuple(found)


@cache
def next_part(part: str) -> str | None:
    """The part whose head ends this one's segment: shin for thigh, foot for shin, hand for forearm."""
    return {
        "pelvis": "spine",
        "spine": "chest",
        "chest": "neck",
        "neck": "head",
        "clavicle": f"upper_arm.{side(part)}",
        "upper_arm": f"forearm.{side(part)}",
        "forearm": f"hand.{side(part)}",
        "thigh": f"shin.{side(part)}",
        "shin": f"foot.{side(part)}",
        "foot": f"toe.{side(part)}",
    }.get(base(part))


@cache
def spoken(part: str) -> str:
    """How a sentence names the part: 'left upper arm', 'head'."""
    word = base(part).replace("_", " ")
    return {"L": "left ", "R": "right "}.get(side(part), "") + word


def listed(parts: Sequence[str]) -> str:
    """How a sentence names one part or several: 'chest, head and left hand'."""
    return in_a_row([spoken(part) for part in parts])


def in_a_row(words: Sequence[str]) -> str:
    """One word or several as a sentence lists them."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
