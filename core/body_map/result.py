# SPDX-License-Identifier: GPL-3.0-or-later
"""What the finder gives back."""

from dataclasses import dataclass, field

from .skeleton import Array

#: The reason of a part on which its name and its place agree.
AGREED = "name and shape agree"


class BodyMapError(ValueError):
    """A map that a card asks for and that cannot be had, with one sentence that says why."""


@dataclass(frozen=True)
class BodyMap:
    """Which bone carries which part of the body.

    parts: body.PARTS name -> bone (index into the skeleton), missing parts left out. reasons: part -> why this bone,
    one short sentence. up, forward (3,): the figure's own directions in the rest pose, unit, world. human: two legs
    below a trunk. limbs: legs counted. warnings: sentences for the person. copies: part -> bones that start at the
    same rest place (1 mm) and reach the next joint unsplit, so that they may carry the true twist, best first;
    whether they follow the skin must be seen in motion.
    """

    parts: dict[str, int]
    reasons: dict[str, str]
    up: Array
    forward: Array
    human: bool
    limbs: int
    warnings: tuple[str, ...] = ()
    copies: dict[str, tuple[int, ...]] = field(default_factory=dict)
