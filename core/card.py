# SPDX-License-Identifier: GPL-3.0-or-later
"""The character card: body map, joint limits, masses, soles, tolerances and height of one character, as JSON.

The published schema is card.schema.json beside this file; ``Card.read`` checks the same rules by hand, since nothing
but numpy is at hand inside Blender.
"""

import json
from dataclasses import dataclass, field
from typing import Any

from .body import LIMBS, PARTS
from .presets import PRESETS

VERSION = 1


class CardError(ValueError):
    """A card that cannot be used, with one sentence that says why."""


@dataclass(frozen=True, slots=True)
class Card:
    """What a person has said about a character. Everything is optional.

    parts: part -> bone ('' = the character has none). limits: joint angle name (see tables.joint_ranges) -> (least,
    most) in degrees,
    either may be None. masses: part -> kg. soles: side -> 7 points in meters in the foot's rest world (see shot.Sole).
    stretch: limb ('leg.L') -> share by which it may grow. height: meters that the figure stands for.
    preset: '' or a name of presets, which moves the limits of the lanes of weight for stylised work.
    """

    name: str = ""
    parts: dict[str, str] = field(default_factory=dict)
    limits: dict[str, tuple[float | None, float | None]] = field(default_factory=dict)
    masses: dict[str, float] = field(default_factory=dict)
    soles: dict[str, tuple[tuple[float, float, float], ...]] = field(default_factory=dict)
    stretch: dict[str, float] = field(default_factory=dict)
    height: float | None = None
    preset: str = ""

    @classmethod
    def read(cls, text: str) -> "Card":
        """A card from JSON text; raises CardError with one sentence."""
        try:
            data = json.loads(text)
        except (ValueError, RecursionError) as error:
            raise CardError(f"the card is not JSON: {error}") from None
        if not isinstance(data, dict):
            raise CardError("the card must be a JSON object")
        return cls.from_data(data)

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> "Card":
        known = {"schema", "name", "map", "limits", "masses", "soles", "stretch", "height", "preset"}
        for key in data:
            if key not in known:
                raise CardError(f"the card has an unknown entry {key!r}; known are {', '.join(sorted(known))}")
        version = data.get("schema", VERSION)
        if version != VERSION or isinstance(version, bool):
            raise CardError(f"the card has schema version {version!r}; this Plumbline reads version {VERSION}")
        name = data.get("name", "")
        if not isinstance(name, str):
            raise CardError("the card's name must be a text")
        preset = data.get("preset", "")
        if not isinstance(preset, str) or preset and preset not in PRESETS:
            raise CardError(f"the card's preset must be one of {', '.join(PRESETS)}, or empty")
        return cls(
            name=name,
            preset=preset,
            parts=_table(data, "map", PARTS, _text),
            limits=_table(data, "limits", None, _range),
            masses=_table(data, "masses", PARTS, _positive),
            soles=_table(data, "soles", ("L", "R"), _seven_points),
            stretch=_table(data, "stretch", tuple(LIMBS), _positive),
            height=None if data.get("height") is None else _positive(data["height"], "height"),
        )

    def data(self) -> dict[str, Any]:
        """The card as JSON data; entries that say nothing are left out."""
        out: dict[str, Any] = {"schema": VERSION}
        for key, value in (
            ("name", self.name),
            ("map", self.parts),
            ("limits", self.limits),
            ("masses", self.masses),
            ("soles", self.soles),
            ("stretch", self.stretch),
            ("height", self.height),
            ("preset", self.preset),
        ):
            if value:
                out[key] = value
        return out

    def write(self) -> str:
        return json.dumps(self.data(), indent=2, ensure_ascii=False)


def _table(data: dict[str, Any], key: str, names: tuple[str, ...] | None, check: Any) -> dict[str, Any]:
    table = data.get(key, {})
    if not isinstance(table, dict):
        raise CardError(f"the card's {key} must be an object")
    for name in table:
        if names is not None and name not in names:
            raise CardError(f"the card's {key} names an unknown part {name!r}")
    return {name: check(value, f"{key} of {name}") for name, value in table.items()}


def _text(value: Any, what: str) -> str:
    if not isinstance(value, str):
        raise CardError(f"the card's {what} must be a text")
    return value


def _number(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:  # NaN is not, either
        raise CardError(f"the card's {what} must be a number")
    return float(value)


def _positive(value: Any, what: str) -> float:
    number = _number(value, what)
    if number <= 0:
        raise CardError(f"the card's {what} must be above zero")
    return number


def _range(value: Any, what: str) -> tuple[float | None, float | None]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise CardError(f"the card's {what} must be a pair of least and most degrees")
    least, most = (None if v is None else _number(v, what) for v in value)
    if least is not None and most is not None and least > most:
        raise CardError(f"the card's {what} has its least above its most")
    return least, most


def _seven_points(value: Any, what: str) -> tuple[tuple[float, float, float], ...]:
    if (
        not isinstance(value, list | tuple)
        or len(value) != 7
        or not all(isinstance(p, list | tuple) and len(p) == 3 for p in value)
    ):
        raise CardError(f"the card's {what} must be seven points of three numbers")
    return tuple((_number(p[0], what), _number(p[1], what), _number(p[2], what)) for p in value)
