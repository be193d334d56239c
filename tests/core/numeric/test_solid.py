# SPDX-License-Identifier: GPL-3.0-or-later
"""Room that meshes take up: closed forms, coats over bodies, holes, sheets, shells wound inside out."""

import numpy as np
import pytest
from plumbline.core.numeric import rotation as rot
from plumbline.core.numeric.solid import room

Array = np.ndarray
#: Corners of a box and its outward triangles.
CORNERS = np.array([[x, y, z] for x in (-0.5, 0.5) for y in (-0.5, 0.5) for z in (-0.5, 0.5)])
BOX = np.array([[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6],
                [0, 6, 4], [1, 5, 7], [1, 7, 3]])

#: Cells enough for boxes that fill all of them.
FEW = 40


def box(size: tuple[float, float, float], middle: tuple[float, float, float] = (0, 0, 0)) -> Array:
    return CORNERS * size + middle


def tube(radius: float, low: float, high: float, n: int = 32, rings: int = 12) -> tuple[Array, Array]:
    """An upright tube without ends."""
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    heights = np.linspace(low, high, rings)
    places = np.array([[radius * np.cos(a), radius * np.sin(a), z] for z in heights for a in turn])
    faces = []
    for i in range(rings - 1):
        for j in range(n):
            a, b = i * n + j, i * n + (j + 1) % n
            faces += [(a, b, b + n), (a, b + n, a + n)]
    return places, np.array(faces)


def together(*meshes: tuple[Array, Array]) -> tuple[Array, Array, Array]:
    """Meshes as one, each with its own label."""
    starts = np.cumsum([0, *(len(m[0]) for m in meshes)])
    return (np.concatenate([m[0] for m in meshes]),
            np.concatenate([m[1] + a for m, a in zip(meshes, starts, strict=False)]),
            np.concatenate([np.full(len(m[0]), k) for k, m in enumerate(meshes)]))


@pytest.mark.parametrize("turned", (False, True))
def test_a_box_has_its_closed_form(turned):
    """Of 0.2 x 0.3 x 0.4 m: 24 kg of water, and inertia 0.50, 0.40, 0.26 kg m2, as trimesh says too."""
    turn = rot.exp(np.array([0.4, -0.7, 1.1])) if turned else np.eye(3)
    found = room(box((0.2, 0.3, 0.4)) @ turn.T * 1.0 + [3, -2, 1], BOX, np.zeros(8, int))
    assert found.volume[0] == pytest.approx(0.024, rel=0.02)
    np.testing.assert_allclose(found.center[0], [3, -2, 1], atol=0.002)
    moments = turn.T @ found.moments[0] @ turn
    inertia = found.volume[0] * 1000 * (np.trace(moments) * np.eye(3) - moments)
    np.testing.assert_allclose(np.diag(inertia) * 24 / (found.volume[0] * 1000), (0.50, 0.40, 0.26), rtol=0.02)
    assert np.abs(inertia - np.diag(np.diag(inertia))).max() < 0.01


def test_finer_cells_come_nearer():
    turn = rot.exp(np.array([0.4, -0.7, 1.1]))
    off = [abs(float(room(box((0.2, 0.3, 0.4)) @ turn.T, BOX, np.zeros(8, int), cells).volume[0]) / 0.024 - 1)
           for cells in (12, 96)]
    assert off[1] < off[0] and off[1] < 0.005


def test_a_forearm_beside_a_trunk_is_known_to_four_percent():
    rng = np.random.default_rng(0)
    off = []
    for _ in range(4):
        forearm = box((0.07, 0.075, 0.25)) @ rot.exp(rng.normal(size=3)).T + [0.6, 0, 0.2]
        found = room(*together((box((0.3, 0.2, 1.75)), BOX), (forearm, BOX)))
        off.append(found.volume[1] / (0.07 * 0.075 * 0.25) - 1)
    assert np.abs(off).max() < 0.04 and np.sqrt(np.mean(np.square(off))) < 0.025


def test_what_lies_in_two_skins_counts_once():
    places, faces, labels = together((box((1, 1, 1)), BOX), (box((1, 1, 1), (0.5, 0, 0)), BOX))
    assert room(places, faces, labels, FEW).volume.sum() == pytest.approx(1.5, rel=0.02)
    inner = together((box((1, 1, 1)), BOX), (box((0.4, 0.4, 0.4)), BOX))
    assert room(*inner, FEW).volume.sum() == pytest.approx(1.0, rel=0.02)


def test_a_shell_wound_inside_out_is_as_solid():
    places, faces, labels = together((box((1, 1, 1)), BOX), (box((1, 1, 1), (0.5, 0, 0)), BOX[:, ::-1]))
    assert room(places, faces, labels, FEW).volume.sum() == pytest.approx(1.5, rel=0.02)


def test_seams_do_not_open_a_shell():
    """As imported skins are: every triangle with vertices of its own."""
    places = box((1, 1, 1))[BOX].reshape(-1, 3)
    found = room(places, np.arange(36).reshape(-1, 3), np.zeros(36, int), FEW)
    assert found.volume[0] == pytest.approx(1.0, rel=0.02)


def test_a_shirt_without_ends_is_a_trunk():
    places, faces = tube(0.15, 0.0, 0.6)
    found = room(places, faces, np.zeros(len(places), int))
    assert found.volume[0] == pytest.approx(np.pi * 0.15**2 * 0.6, rel=0.08)
    np.testing.assert_allclose(found.center[0], (0, 0, 0.3), atol=0.01)


def test_a_box_with_a_hole_keeps_its_room():
    """One side of six is missing."""
    found = room(box((1, 1, 1)), BOX[:-2], np.zeros(8, int), FEW)
    assert found.volume[0] == pytest.approx(1.0, rel=0.05)


def test_a_cape_weighs_nothing():
    grid = np.array([[x, 0.1 * np.sin(3 * x), z] for x in np.linspace(-0.4, 0.4, 9) for z in np.linspace(0, 1, 9)])
    faces = [f for i in range(8) for j in range(8)
             for f in ((i * 9 + j, i * 9 + j + 1, i * 9 + j + 10), (i * 9 + j, i * 9 + j + 10, i * 9 + j + 9))]
    places, faces, labels = together((grid, np.array(faces)), (box((0.3, 0.2, 1.0), (0, 0.5, 0.5)), BOX))
    found = room(places, faces, labels)
    by_label = dict(zip(found.labels.tolist(), found.volume, strict=True))
    assert by_label[1] == pytest.approx(0.06, rel=0.03) and by_label.get(0, 0.0) < 0.001


def test_each_part_has_what_is_nearest_to_its_skin():
    """A bar whose skin changes hands in the middle; flesh of a bone without a part goes to the parts beside it."""
    n = 21
    rings = np.linspace(0, 2, n)
    turn = np.array([[-0.1, -0.1], [0.1, -0.1], [0.1, 0.1], [-0.1, 0.1]])
    places = np.array([[x, y, z] for x in rings for y, z in turn])
    faces = []
    for i in range(n - 1):
        for j in range(4):
            a, b = i * 4 + j, i * 4 + (j + 1) % 4
            faces += [(a, b, b + 4), (a, b + 4, a + 4)]
    faces += [(0, 2, 1), (0, 3, 2), (len(places) - 4, len(places) - 3, len(places) - 2),
              (len(places) - 4, len(places) - 2, len(places) - 1)]
    owner = np.where(places[:, 0] < 0.99, 3, 7)
    found = room(places, np.array(faces), owner)
    assert found.labels.tolist() == [3, 7] and found.astray == 0.0
    np.testing.assert_allclose(found.volume, (0.95 * 0.04, 1.05 * 0.04), rtol=0.04)
    np.testing.assert_allclose(found.center[:, 0], (0.475, 1.475), atol=0.02)
    nobody = np.where((places[:, 0] > 0.6) & (places[:, 0] < 1.4), -1, owner)
    other = room(places, np.array(faces), nobody)
    np.testing.assert_allclose(other.volume, (0.04, 0.04), rtol=0.05)
    assert other.astray == 0.0


def test_flesh_near_no_part_is_told():
    places, faces, labels = together((box((1, 1, 1)), BOX), (box((1, 1, 1), (3, 0, 0)), BOX))
    found = room(places, faces, np.where(labels == 1, -1, 0), FEW)
    assert found.labels.tolist() == [0] and found.astray == pytest.approx(0.5, abs=0.01)


def test_left_and_right_are_alike():
    sides = ((box((0.2, 0.2, 0.8), (x, 0, 0)), BOX) for x in (-0.3, 0.3))
    found = room(*together(*sides))
    assert found.volume[0] == pytest.approx(found.volume[1], rel=0.01)


def test_nothing_and_nonsense():
    assert len(room(np.zeros((0, 3)), np.zeros((0, 3), int), np.zeros(0, int)).labels) == 0
    assert len(room(np.zeros((3, 3)), np.array([[0, 1, 2]]), np.zeros(3, int)).labels) == 0
    with pytest.raises(ValueError, match="finite"):
        room(np.full((3, 3), np.nan), np.array([[0, 1, 2]]), np.zeros(3, int))
    with pytest.raises(ValueError, match="labels"):
        room(np.zeros((3, 3)), np.array([[0, 1, 2]]), np.zeros(2, int))
