# SPDX-License-Identifier: GPL-3.0-or-later
"""What a contour alone tells is covered, against all triangles: closed, open, folded, wound both ways, in singles."""

import numpy as np
import pytest
from plumbline.core.numeric.cover import Cover
from plumbline.core.numeric.outline import contour
from plumbline.core.numeric.topology import topology, weld
from plumbline.core.numeric.winding import Winding

Array = np.ndarray
PICTURE = np.array([-400.0, -400.0, 400.0, 400.0])


def ball(sides: int, rings: int) -> tuple[Array, Array]:
    """A bumpy ball of about 100 U: places (n, 3) and triangles."""
    polar, turn = np.meshgrid(
        np.linspace(0.02, np.pi - 0.02, rings), np.linspace(0, 2 * np.pi, sides, endpoint=False), indexing="ij"
    )
    far = 100.0 * (1.0 + 0.3 * np.sin(3 * turn) * np.sin(4 * polar))
    places = far[..., None] * np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], -1)
    row, column = np.divmod(np.arange((rings - 1) * sides), sides)
    a, b = row * sides + column, row * sides + (column + 1) % sides
    tri = np.concatenate([np.stack([a, b, a + sides], -1), np.stack([b, b + sides, a + sides], -1)])
    return places.reshape(-1, 3), tri


def told(
    places: Array, triangles: Array, points: Array, kind: type, window: Array | None = None
) -> tuple[Array, Array]:
    """Whether each point is covered: by the contour, and by the triangles."""
    top = topology(triangles, weld(places))
    x, y = places[top.vertices, :2].T.astype(kind)
    w = np.ones(len(x), kind)
    inside = Winding(contour(top, x, y, w, window)).covers(points)
    return inside, np.isfinite(Cover([(x, y, w, top.triangles)], PICTURE).nearest(points, [0]))


@pytest.mark.parametrize("kind", [np.float64, np.float32])
@pytest.mark.parametrize("case", ["open at the poles", "a half", "turned triangles", "seams", "a fin", "a soup"])
def test_the_contour_tells_what_all_triangles_tell(case: str, kind: type) -> None:
    rng = np.random.default_rng(sum(map(ord, case)))
    places, tri = ball(40, 24)
    places = places @ np.linalg.qr(rng.normal(size=(3, 3)))[0]
    if case == "a half":
        tri = tri[: len(tri) // 3]
    elif case == "turned triangles":
        tri[::3] = tri[::3, ::-1]
    elif case == "seams":
        places, tri = places[tri.ravel()], np.arange(tri.size).reshape(-1, 3)
    elif case == "a fin":  # a third face on some edges
        tri = np.concatenate([tri, np.stack([tri[:9, 0], tri[:9, 1], np.full(9, 500)], -1)])
    elif case == "a soup":
        places, tri = rng.uniform(-150, 150, (90, 3)), np.arange(90).reshape(-1, 3)
    points = rng.uniform(-180, 180, (3000, 2))
    by_contour, by_triangles = told(places, tri, points, kind)
    assert 0.1 < by_triangles.mean() < 0.9
    # Of single floats a point may lie on an edge.
    assert (by_contour != by_triangles).sum() <= (0 if kind is np.float64 else 1), case


def test_a_window_open_to_the_right_is_enough() -> None:
    places, tri = ball(60, 40)
    rng = np.random.default_rng(5)
    points = rng.uniform((-120, -20), (-60, 40), (800, 2))
    strip = np.array([-120.0, -20.0, np.inf, 40.0])
    by_contour, by_triangles = told(places, tri, points, np.float64, strip)
    assert 0.1 < by_triangles.mean() < 0.9 and np.array_equal(by_contour, by_triangles)


def test_no_points_and_no_edges() -> None:
    places, tri = ball(8, 6)
    assert not len(told(places, tri, np.zeros((0, 2)), np.float64)[0])
    top = topology(tri[:0], weld(places))
    none = np.zeros(0)
    assert not Winding(contour(top, none, none, none)).covers(np.zeros((3, 2))).any()
