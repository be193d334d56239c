# SPDX-License-Identifier: GPL-3.0-or-later
"""The sampled shot: what the scene did, as arrays. Nothing here knows Blender.

F frames, P parts, K keys, S sole points. Places are world meters; axes are (…, 3, 3) with an object's x, y and z axes
in the world as columns. All arrays are made read-only, and their shapes are checked when the object is born.
"""

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from . import body
from .card import Card
from .kiss import Kisses
from .need import Need

Array = np.ndarray


def _freeze(owner: Any, name: str, shape: tuple[int | None, ...] | None = None, dtype: Any = float) -> None:
    value = getattr(owner, name)
    if value is None:
        return
    array = np.asarray(value, dtype).view()
    if shape is not None and (
        array.ndim != len(shape) or any(s not in (None, n) for s, n in zip(shape, array.shape, strict=True))
    ):
        raise ValueError(f"{type(owner).__name__}.{name}: expected shape {shape}, got {array.shape}")
    array.flags.writeable = False
    object.__setattr__(owner, name, array)


def _rows(values: Array) -> Array:
    """(F, P, 3) as (3, P, F), and (F, P, 3, 3) as (3, 3, P, F): read-only, the same memory where it lies so already."""
    rows = np.ascontiguousarray(values.transpose(*range(2, values.ndim), 1, 0)).view()
    rows.flags.writeable = False
    return rows


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
        _freeze(self, "channel", (None,), int)
        n = len(self.channel)
        for name in ("scene_frame", "action_frame", "value", "back", "amplitude", "period"):
            _freeze(self, name, (n,))
        _freeze(self, "left", (n, 2))
        _freeze(self, "right", (n, 2))
        _freeze(self, "interpolation", (n,), int)
        _freeze(self, "easing", (n,), int)

    def of(self, index: int) -> slice:
        """The rows of one channel."""
        lo, hi = np.searchsorted(self.channel, (index, index + 1))
        return slice(int(lo), int(hi))


@dataclass(frozen=True)
class Goal:
    """The target of an inverse-kinematics chain that ends at the end of ``part``'s limb.

    part is the limb's end ('foot.L', 'hand.R'); place (F, 3) where the target is, reach (F, 3) where the chain's
    end is,
    influence (F,) of the constraint. controls: owners ('rig/bone') of the keys that move the goal or its pole.
    """

    part: str
    place: Array
    reach: Array
    influence: Array
    controls: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _freeze(self, "place", (None, 3))
        n = len(self.place)
        _freeze(self, "reach", (n, 3))
        _freeze(self, "influence", (n,))


SOLE_POINTS = ("heel", "heel_inner", "heel_outer", "ball", "ball_inner", "ball_outer", "toe_tip")


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
        _freeze(self, "points", (len(SOLE_POINTS), 3))


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
    reasons: one sentence a part, why this bone. keyed: whether its motion comes from sparse keys.
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
    keys: Keys | None = None
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
        _freeze(self, "heads", (None, p, 3))
        f = len(self.heads)
        _freeze(self, "tails", (f, p, 3))
        for name in ("axes", "twist_axes"):
            _freeze(self, name, (f, p, 3, 3))
        _freeze(self, "rest_heads", (p, 3))
        _freeze(self, "rest_tails", (p, 3))
        _freeze(self, "rest_axes", (p, 3, 3))
        _freeze(self, "scale", (f,))
        _freeze(self, "up", (3,))
        _freeze(self, "forward", (3,))

    @cached_property
    def index(self) -> dict[str, int]:
        return {part: i for i, part in enumerate(self.parts)}

    def has(self, *parts: str) -> bool:
        return self.index.keys() >= set(parts)

    # The same numbers once more, frames last: what reads one part of them all then runs along rows of memory.

    @cached_property
    def head_rows(self) -> Array:
        """Heads as (3, P, F)."""
        return _rows(self.heads)

    @cached_property
    def tail_rows(self) -> Array:
        """Tails as (3, P, F)."""
        return _rows(self.tails)

    @cached_property
    def axes_rows(self) -> Array | None:
        """Axes as (3, 3, P, F), row and column first."""
        return None if self.axes is None else _rows(self.axes)

    @cached_property
    def twist_rows(self) -> Array | None:
        """Twist axes as (3, 3, P, F)."""
        if self.twist_axes is None:
            return None
        # what was given one array for both keeps one: views know their memory by its address
        if self.axes is not None and self.axes.__array_interface__ == self.twist_axes.__array_interface__:
            return self.axes_rows
        return _rows(self.twist_axes)

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
        return float(np.linalg.norm(self.rest_end(part) - self.rest_head(part)))

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
            soles=self.soles if Need.ROTATIONS in need else (),
        )


@dataclass(frozen=True)
class Prop:
    """A thing that moves or is moved: origin (F, 3), axes (F, 3, 3); why it was taken for a prop."""

    name: str
    why: str
    origin: Array
    axes: Array
    size: float = 0.0
    keys: Keys | None = None

    def __post_init__(self) -> None:
        _freeze(self, "origin", (None, 3))
        _freeze(self, "axes", (len(self.origin), 3, 3))


@dataclass(frozen=True)
class Surface:
    """Ground: triangles (T, 3, 3) in its own space, world (1 or F, 4, 4). ``name`` is None for a plane at the feet."""

    name: str | None
    why: str
    triangles: Array
    world: Array

    def __post_init__(self) -> None:
        _freeze(self, "triangles", (None, 3, 3))
        _freeze(self, "world", (None, 4, 4))

    @property
    def moving(self) -> bool:
        return len(self.world) > 1


@dataclass(frozen=True)
class Camera:
    """The camera in use, frame by frame.

    run (F,) int: index of the cut each frame belongs to; names: the camera of each run. kind (F,) 'PERSP', 'ORTHO' or
    'PANO'. fit 'AUTO', 'HORIZONTAL' or 'VERTICAL' per run. world_from_camera (F, 4, 4) with unit axes; the camera looks
    along its -Z. lens_mm, ortho_scale (F,), sensor_mm (F, 2), shift (F, 2), resolution (2,) pixels at 100 %,
    pixel_aspect (2,) x and y. No span crosses the end of a run.
    """

    names: tuple[str, ...]
    run: Array
    kind: tuple[str, ...]
    fit: tuple[str, ...]
    world_from_camera: Array
    lens_mm: Array
    ortho_scale: Array
    sensor_mm: Array
    shift: Array
    resolution: Array
    pixel_aspect: Array

    def __post_init__(self) -> None:
        _freeze(self, "run", (None,), int)
        f = len(self.run)
        _freeze(self, "world_from_camera", (f, 4, 4))
        _freeze(self, "lens_mm", (f,))
        _freeze(self, "ortho_scale", (f,))
        _freeze(self, "sensor_mm", (f, 2))
        _freeze(self, "shift", (f, 2))
        _freeze(self, "resolution", (2,))
        _freeze(self, "pixel_aspect", (2,))
        if len(self.kind) != len(self.names) or len(self.fit) != len(self.names):
            raise ValueError("Camera: kind and fit must have one entry a run")


@dataclass(frozen=True)
class Shot:
    """One scene, sampled.

    frames (F,) scene frames, evenly spaced; fps frames a second; gravity (3,) m/s2; unit_scale meters per Blender unit;
    first and last: the range that is judged (frames outside are margin). kisses: what the mesh reducer found, or None.
    remarks: sentences about what the sweep could not show.
    """

    name: str
    frames: Array
    fps: float
    characters: tuple[Character, ...]
    props: tuple[Prop, ...] = ()
    surfaces: tuple[Surface, ...] = ()
    camera: Camera | None = None
    kisses: Kisses | None = None
    gravity: Array = field(default_factory=lambda: np.array([0.0, 0.0, -9.81]))
    unit_scale: float = 1.0
    file: str = ""
    first: int | None = None
    last: int | None = None
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _freeze(self, "frames", (None,))
        _freeze(self, "gravity", (3,))
        if self.first is None:
            object.__setattr__(self, "first", int(np.ceil(self.frames[0])))
        if self.last is None:
            object.__setattr__(self, "last", int(np.floor(self.frames[-1])))
        for character in self.characters:
            if len(character.heads) != len(self.frames):
                raise ValueError(
                    f"Character {character.name}: {len(character.heads)} frames, the shot has {len(self.frames)}"
                )

    @property
    def count(self) -> int:
        return len(self.frames)

    @cached_property
    def rate(self) -> float:
        """Samples a second: fps where each frame was sampled once."""
        if len(self.frames) < 2:
            return self.fps
        return float(self.fps / (self.frames[1] - self.frames[0]))

    @cached_property
    def times(self) -> Array:
        """Seconds since the first sample, (F,)."""
        return (self.frames - self.frames[0]) / self.fps

    def frame(self, i: int) -> int:
        """The whole scene frame of sample i, held inside the sampled range."""
        least, most = self._whole
        return min(max(round(float(self.frames[i])), least), most)

    @cached_property
    def _whole(self) -> tuple[int, int]:
        """The first and the last whole frame within the sampled range."""
        return math.ceil(self.frames[0]), math.floor(self.frames[-1])

    def only(self, need: Need) -> "Shot":
        """This shot with everything but ``need`` taken away, to prove that a check declares what it reads."""
        return replace(
            self,
            characters=tuple(c.only(need) for c in self.characters),
            camera=self.camera if Need.CAMERA in need else None,
            surfaces=self.surfaces if Need.GROUND in need else (),
            props=self.props if Need.PROPS in need else (),
            kisses=self.kisses if Need.KISSES in need else None,
        )


def with_character(shot: Shot, old: Character, new: Character) -> Shot:
    """The shot with one character exchanged."""
    return replace(shot, characters=tuple(new if c is old or c.name == old.name else c for c in shot.characters))
