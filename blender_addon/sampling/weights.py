# SPDX-License-Identifier: GPL-3.0-or-later
"""What a thing weighs, as its object's own property ``plumbline_mass`` tells in kilograms, and where that acts."""

from collections.abc import Callable
from typing import Any

import numpy as np

from ...core.numeric.enclosed import center_of_room

Array = np.ndarray

MASS = "plumbline_mass"


def told_mass(object: Any) -> float:
    """Kilograms that the object's own property tells, 0 where it tells none."""
    value = object.get(MASS)
    told = isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value < float("inf")
    return float(value) if told else 0.0


def center_of(object: Any, world: Array, unit: float, frames: int, faces: Callable[[], Array]) -> Array | None:
    """The middle of the room of a thing whose mass is told, (frames, 3) m; None where its mesh encloses none.

    world (1 or frames, 4, 4) of the object; unit: meters of one of the scene's; faces: reads the mesh's triangles
    (T, 3, 3) in its own space.
    """
    if not told_mass(object) or object.type != "MESH":
        return None
    middle = center_of_room(faces())
    if middle is None:
        return None
    places = (world[:, :3, :3] @ middle + world[:, :3, 3]) * unit
    return np.broadcast_to(places, (frames, 3))
