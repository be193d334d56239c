# SPDX-License-Identifier: GPL-3.0-or-later
"""The sampled shot: what the scene did, as arrays. Nothing here knows Blender.

F frames, P parts, K keys, S sole points. Places are world meters; axes are (…, 3, 3) with an object's x, y and z axes
in the world as columns. All arrays are made read-only, and their shapes are checked when the object is born.

What a shot is made of is had from here too: its characters (``character``) and their keys (``keys``).
"""

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from .character import SOLE_OUTLINE, SOLE_POINTS, Character, Goal, SkinMass, Sole
from .frozen import freeze
from .keys import INTERPOLATIONS, Channel, Control, Keys
from .kiss import Kisses
from .need import Need

__all__ = [
    "GRAVITY",
    "INTERPOLATIONS",
    "SOLE_OUTLINE",
    "SOLE_POINTS",
    "Array",
    "Camera",
    "Channel",
    "Character",
    "Control",
    "Goal",
    "Keys",
    "Prop",
    "Shot",
    "SkinMass",
    "Sole",
    "Surface",
    "with_character",
]

Array = np.ndarray

#: m/s2, where a scene states no other.
GRAVITY = 9.81


@dataclass(frozen=True)
class Prop:
    """A thing that moves or is moved: origin (F, 3), axes (F, 3, 3); why it was taken for a prop; mass kg, 0 where
    nobody told it; center (F, 3): the middle of the room that its mesh takes up, None where nobody told its mass or no
    mesh encloses any."""

    name: str
    why: str
    origin: Array
    axes: Array
    size: float = 0.0
    keys: Keys | None = None
    mass: float = 0.0
    center: Array | None = None

    @property
    def weight_at(self) -> Array:
        """(F, 3) where its weight acts: its center, its origin where that is not known."""
        return self.origin if self.center is None else self.center

    def __post_init__(self) -> None:
        freeze(self, "origin", (None, 3))
        freeze(self, "center", (len(self.origin), 3))
        freeze(self, "axes", (len(self.origin), 3, 3))


@dataclass(frozen=True)
class Surface:
    """Ground: triangles (T, 3, 3) in its own space, world (1 or F, 4, 4). ``name`` is None for a plane at the feet."""

    name: str | None
    why: str
    triangles: Array
    world: Array

    def __post_init__(self) -> None:
        freeze(self, "triangles", (None, 3, 3))
        freeze(self, "world", (None, 4, 4))

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
        freeze(self, "run", (None,), int)
        f = len(self.run)
        freeze(self, "world_from_camera", (f, 4, 4))
        freeze(self, "lens_mm", (f,))
        freeze(self, "ortho_scale", (f,))
        freeze(self, "sensor_mm", (f, 2))
        freeze(self, "shift", (f, 2))
        freeze(self, "resolution", (2,))
        freeze(self, "pixel_aspect", (2,))
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
    gravity: Array = field(default_factory=lambda: np.array([0.0, 0.0, -GRAVITY]))
    unit_scale: float = 1.0
    file: str = ""
    first: int | None = None
    last: int | None = None
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        freeze(self, "frames", (None,))
        freeze(self, "gravity", (3,))
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
