# SPDX-License-Identifier: GPL-3.0-or-later
"""The closed set of drawable shapes. Checks return them, drawers draw them; a check never draws.

All places are world meters, except in ScreenOutline, whose places are pixels of a picture scaled to a shorter side
of 1080 with y upward. ``role`` is 'found' (what the shot does, drawn in the lane's color) or 'held_against' (what it
is measured against, drawn in paper white). ``frames`` is the first and last scene frame at which the shape shows;
a shape with one place a frame lists as many places as there are whole frames from first to last.
"""

from dataclasses import dataclass

import numpy as np

Place = tuple[float, float, float]
Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Point:
    """A disc, ring or center of mass: ``kind`` is 'disc', 'ring' or 'mass'."""

    role: str
    frames: Span
    places: tuple[Place, ...]
    kind: str = "disc"


@dataclass(frozen=True, slots=True)
class Polyline:
    """An open line through places; ``ticks`` draws one tick across it at each place (one place a frame)."""

    role: str
    frames: Span
    places: tuple[Place, ...]
    ticks: bool = False
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Arrow:
    role: str
    frames: Span
    start: Place
    end: Place


@dataclass(frozen=True, slots=True)
class Arc:
    """An angle about ``centre`` from ``zero`` by ``angle`` degrees around ``axis`` (right hand); ``zero`` is a unit
    direction."""

    role: str
    frames: Span
    centre: Place
    axis: Place
    zero: Place
    angle: float
    radius: float


@dataclass(frozen=True, slots=True)
class Patch:
    """A filled polygon: a footprint, a support area."""

    role: str
    frames: Span
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class ScreenOutline:
    """Pieces of an outline in the shot's camera: places (x, y) in pixels of a picture with a shorter side of 1080."""

    role: str
    frames: Span
    places: tuple[tuple[float, float], ...]
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Label:
    role: str
    frames: Span
    place: Place
    text: str


def places(path: np.ndarray) -> tuple[Place, ...]:
    """Rows of world places (N, 3), meters, as shapes and remedies list them."""
    return tuple((x, y, z) for x, y, z in path.tolist())


Evidence = Point | Polyline | Arrow | Arc | Patch | ScreenOutline | Label
SHAPES = (Point, Polyline, Arrow, Arc, Patch, ScreenOutline, Label)
