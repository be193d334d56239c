# SPDX-License-Identifier: GPL-3.0-or-later
"""The keys behind a motion, as columns. Nothing here knows Blender."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .frozen import freeze

Array = np.ndarray


@dataclass(frozen=True)
class Channel:
    """What an animation curve drives. ``strip`` names the NLA strip that it plays through, or ''."""

    object: str
    action: str
    path: str
    index: int
    bone: str = ""
    slot: str = ""
    strip: str = ""

    @property
    def owner(self) -> str:
        return f"{self.object}/{self.bone}" if self.bone else self.object

    @property
    def name(self) -> str:
        return f"{self.path.rpartition('.')[2] or self.path}[{self.index}]"


#: Properties by which an object or a bone is moved as a whole, as Channel.path names them.
MOVING = frozenset(
    f"{before}{path}"
    for before in ("", "delta_")
    for path in ("location", "rotation_euler", "rotation_quaternion", "rotation_axis_angle", "scale")
)


@dataclass(frozen=True)
class Control:
    """What a person keys to move a part. owner: as Channel.owner has it; path: the one property that counts, as
    Channel.path has it, or '' for its place, turn and scale. spans: the scene frames, first and last, on which the part
    follows it; None for all."""

    owner: str
    path: str = ""
    spans: tuple[tuple[float, float], ...] | None = None

    def counts(self, first: float, last: float) -> bool:
        """Whether the part follows it somewhere on scene frames ``first`` to ``last``, both inside."""
        return self.spans is None or any(a <= last and b >= first for a, b in self.spans)


#: Interpolation of the segment that starts at a key, by name; Blender numbers them otherwise.
INTERPOLATIONS = (
    "CONSTANT",
    "LINEAR",
    "BEZIER",
    "SINE",
    "QUAD",
    "CUBIC",
    "QUART",
    "QUINT",
    "EXPO",
    "CIRC",
    "BACK",
    "BOUNCE",
    "ELASTIC",
)


@dataclass(frozen=True)
class Keys:
    """Keyframes as columns, sorted by channel and then by frame.

    channel (K,) int index into ``channels``; scene_frame, action_frame, value (K,); left, right (K, 2) handles as
    (scene frame, value); interpolation (K,) int, as in INTERPOLATIONS; easing (K,) int (0 auto, 1 in, 2 out, 3 in-out).
    back, amplitude, period (K,): parameters of back and elastic segments, period in scene frames; None where all keys
    have Blender's own 1.70158, 0.8 and 4.1.
    ``plain`` tells for each channel whether the curve alone makes the value (no modifier, strip blending or driver).
    """

    channels: tuple[Channel, ...]
    channel: Array
    scene_frame: Array
    action_frame: Array
    value: Array
    left: Array
    right: Array
    interpolation: Array
    easing: Array | None = None
    plain: tuple[bool, ...] = ()
    back: Array | None = None
    amplitude: Array | None = None
    period: Array | None = None

    def __post_init__(self) -> None:
        freeze(self, "channel", (None,), int)
        n = len(self.channel)
        for name in ("scene_frame", "action_frame", "value", "back", "amplitude", "period"):
            freeze(self, name, (n,))
        freeze(self, "left", (n, 2))
        freeze(self, "right", (n, 2))
        freeze(self, "interpolation", (n,), int)
        freeze(self, "easing", (n,), int)

    def of(self, index: int) -> slice:
        """The rows of one channel."""
        return slice(self._ends[index], self._ends[index + 1])

    @cached_property
    def _ends(self) -> list[int]:
        """The row at which each channel begins, and the number of rows."""
        found: list[int] = np.searchsorted(self.channel, np.arange(len(self.channels) + 1)).tolist()
        return found

    @cached_property
    def by_owner(self) -> dict[str, tuple[int, ...]]:
        """Owner -> its channels' indices."""
        found: dict[str, list[int]] = {}
        for i, channel in enumerate(self.channels):
            found.setdefault(channel.owner, []).append(i)
        return {owner: tuple(rows) for owner, rows in found.items()}

    def behind(self, control: Control) -> tuple[int, ...]:
        """The indices of the channels that a control stands for."""
        rows = self.by_owner.get(control.owner, ())
        if control.path:
            return tuple(i for i in rows if self.channels[i].path == control.path)
        return tuple(i for i in rows if self.channels[i].path in MOVING)
