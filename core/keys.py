# SPDX-License-Identifier: GPL-3.0-or-later
"""The keys behind a motion, as columns. Nothing here knows Blender."""

from collections.abc import Iterable
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


class Line:
    """All channels' time one after the other on one line, so that one search serves many channels.

    frames (K,): scene frames of keys, channel (K,) theirs, sorted by channel and then by frame.
    """

    def __init__(self, frames: Array, channel: Array) -> None:
        self._start = float(frames.min()) - 1.0 if len(frames) else 0.0
        self._length = float(frames.max()) - self._start + 2.0 if len(frames) else 1.0
        self._keys = self.at(channel, frames)

    def at(self, channel: Array, frame: Array | float) -> Array:
        """The places (N,) on the line of frames (N,) of channels (N,)."""
        return np.asarray(channel * self._length + (frame - self._start))

    def between(self, channel: Array, first: float, last: float) -> tuple[Array, Array]:
        """For channels (N,) the rows of their keys on scene frames ``first`` to ``last``, both inside: the first row
        (N,) and the one after the last (N,)."""
        low, high = (min(max(f, self._start), self._start + self._length) for f in (first, last))
        begin = np.searchsorted(self._keys, self.at(channel, low), "left")
        return begin, np.maximum(begin, np.searchsorted(self._keys, self.at(channel, high), "right"))


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
    def owners(self) -> tuple[str, ...]:
        """Each channel's owner."""
        return tuple(channel.owner for channel in self.channels)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Each channel's name."""
        return tuple(channel.name for channel in self.channels)

    @cached_property
    def line(self) -> "Line":
        """Where keys lie on the one line of all channels' time."""
        return Line(self.scene_frame, self.channel)

    @cached_property
    def by_owner(self) -> dict[str, tuple[int, ...]]:
        """Owner -> its channels' indices."""
        return _grouped(self.owners)

    @cached_property
    def by_bone(self) -> dict[str, tuple[int, ...]]:
        """Name of a bone, whichever armature has it, -> its channels' indices; '' -> those of no bone."""
        return _grouped(channel.bone for channel in self.channels)

    def behind(self, control: Control) -> tuple[int, ...]:
        """The indices of the channels that a control stands for."""
        name = (control.owner, control.path)
        if name not in self._behind:
            self._behind[name] = self._driven(*name)
        return self._behind[name]

    @cached_property
    def _behind(self) -> dict[tuple[str, str], tuple[int, ...]]:
        """What ``behind`` found, by owner and path."""
        return {}

    def _driven(self, owner: str, path: str) -> tuple[int, ...]:
        rows = self.by_owner.get(owner, ())
        if path:
            return tuple(i for i in rows if self.channels[i].path == path)
        return tuple(i for i in rows if self.channels[i].path in MOVING)


def _grouped(names: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Name -> the places at which it stands."""
    found: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        found.setdefault(name, []).append(i)
    return {name: tuple(rows) for name, rows in found.items()}
