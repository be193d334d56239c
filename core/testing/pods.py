# SPDX-License-Identifier: GPL-3.0-or-later
"""Round-ended tubes about bones: the flesh of the figures that tests dress."""

import numpy as np

Array = np.ndarray
Mesh = tuple[Array, list[tuple[int, ...]]]

#: Thickness of a part as a share of the standing height, by the part's name without its side; SLENDER for others.
RADIUS = {"pelvis": 0.075, "spine": 0.075, "chest": 0.085, "neck": 0.035, "head": 0.06, "thigh": 0.045, "shin": 0.033}
SLENDER = 0.027


def radius(part: str, height: float) -> float:
    """Meters of a body part's thickness on a figure of this height."""
    return RADIUS.get(part.partition(".")[0], SLENDER) * height


def pod(start: Array, stop: Array, radius: float, rings: int = 10, sides: int = 14) -> Mesh:
    """A closed, round-ended tube of quads about a segment: vertices (n, 3) and faces."""
    along = stop - start
    y = along / np.linalg.norm(along)
    x = np.cross(y, [1.0, 0, 0] if abs(y[0]) < 0.9 else [0, 1.0, 0])
    x /= np.linalg.norm(x)
    z = np.cross(x, y)
    angle = np.repeat(np.linspace(-np.pi / 2, np.pi / 2, rings), sides)[:, None]
    turn = np.tile(np.linspace(0, 2 * np.pi, sides, endpoint=False), rings)[:, None]
    out = radius * np.cos(angle) * (x * np.cos(turn) + z * np.sin(turn))
    places = start + along * (angle >= 0) + y * radius * 0.6 * np.sin(angle) + out
    faces: list[tuple[int, ...]] = [
        (i * sides + j, i * sides + (j + 1) % sides, (i + 1) * sides + (j + 1) % sides, (i + 1) * sides + j)
        for i in range(rings - 1)
        for j in range(sides)
    ]
    return places, faces


def triangles(faces: list[tuple[int, ...]]) -> Array:
    """(t, 3) vertex indices: every face of k corners as a fan of k - 2."""
    return np.array([(face[0], face[i], face[i + 1]) for face in faces for i in range(1, len(face) - 1)])


def block(x: float, y: float, z: float) -> Mesh:
    """A box of these lengths about the origin: vertices (8, 3) and faces."""
    places = np.array([(i, j, k) for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)]) * np.array([x, y, z]) / 2
    return places, [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
