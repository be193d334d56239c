# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks shapely for the gap between the outlines of random bodies, as unions of their projected triangles.

Writes outline_gaps.npz beside itself: a, b (N, 114, 2) vertex places in U of the bodies of ``body``, gap (N,) U, 0
where the
outlines meet or one lies in the other.
"""

from pathlib import Path

import numpy as np

FILE = Path(__file__).with_suffix(".npz")
COUNT = 40
SIDES, RINGS = 16, 7


def body() -> tuple[np.ndarray, np.ndarray]:
    """A sphere of unit radius with single poles: places (114, 3), triangles (224, 3)."""
    polar, turn = np.meshgrid(
        np.linspace(0, np.pi, RINGS + 2)[1:-1], np.linspace(0, 2 * np.pi, SIDES, endpoint=False), indexing="ij"
    )
    ring = np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], -1).reshape(-1, 3)
    places = np.concatenate([ring, [[0, 0, 1.0], [0, 0, -1.0]]])
    faces = []
    for i in range(RINGS - 1):
        for j in range(SIDES):
            p, q = i * SIDES + j, i * SIDES + (j + 1) % SIDES
            faces += [(p, p + SIDES, q + SIDES), (p, q + SIDES, q)]
    top, low, last = len(ring), len(ring) + 1, (RINGS - 1) * SIDES
    for j in range(SIDES):
        faces += [(top, j, (j + 1) % SIDES), (low, last + (j + 1) % SIDES, last + j)]
    return places, np.array(faces)


def random_pair(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Two bent, stretched and turned bodies in the picture, (n, 2) each."""
    places, _ = body()

    def one() -> np.ndarray:
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        bent = (
            places
            @ np.diag(rng.uniform(0.3, 1.0, 3))
            @ turn
            * (1.0 + 0.35 * np.sin(4.0 * places[:, :1] + rng.uniform(0, 6)))
        )
        return bent[:, :2] * rng.uniform(20, 90)

    return one() + (960, 540), one() + (960 + rng.uniform(40, 170), 540 + rng.uniform(-90, 90))


def ask(a: np.ndarray, b: np.ndarray) -> float:
    """shapely's distance between the unions of the triangles."""
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    _, faces = body()
    one, two = (unary_union([t for t in (Polygon(flat[f]) for f in faces) if t.area > 0]) for flat in (a, b))
    return float(one.distance(two))


if __name__ == "__main__":
    rng = np.random.default_rng(7)
    pairs = [random_pair(rng) for _ in range(COUNT)]
    np.savez_compressed(
        FILE,
        a=np.array([a for a, _ in pairs]),
        b=np.array([b for _, b in pairs]),
        gap=np.array([ask(a, b) for a, b in pairs]),
    )
