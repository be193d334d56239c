# SPDX-License-Identifier: GPL-3.0-or-later
"""The smallest-norm point of small hulls, against shapely's own nearest point and against scipy's linear program."""
import numpy as np
import pytest
from plumbline.core.numeric.hull import Hulls, smallest_norm, smallest_norm_thick


def _random_sets(count=400, seed=5):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(count, 7, 2)) * rng.choice([1e-4, 1e-2, 1.0], size=(count, 1, 1))
    points += rng.normal(size=(count, 1, 2)) * rng.choice([0, 1e-3, 1.0], size=(count, 1, 1))
    points[::7] = points[::7, :1]                                   # all in one place
    points[1::7] = points[1::7, :1] * np.linspace(-1, 2, 7)[:, None]  # on one line through the origin
    present = rng.random((count, 7)) < 0.6
    return points, present


def test_against_shapely():
    shapely = pytest.importorskip("shapely")
    from shapely.ops import nearest_points
    points, present = _random_sets()
    ours = smallest_norm(points, present)
    origin = shapely.Point(0, 0)
    for p, m, found in zip(points, present, ours, strict=True):
        if not m.any():
            assert np.isnan(found).all()
            continue
        hull = shapely.MultiPoint(p[m]).convex_hull
        told = np.array(nearest_points(hull, origin)[0].coords[0])
        scale = max(1e-9, np.abs(p[m]).max())
        assert np.linalg.norm(found - told) < 1e-6 * scale


def test_against_a_quadratic_programme():
    optimize = pytest.importorskip("scipy.optimize")
    points, present = _random_sets(40, 9)
    ours = smallest_norm(points, present)
    for p, m, found in zip(points, present, ours, strict=True):
        if not m.any():
            continue
        q = p[m] / max(np.abs(p[m]).max(), 1e-12)
        # weights w >= 0 with sum 1 that make |sum w q| least, the sum held by a heavy row
        w, _ = optimize.nnls(np.vstack([q.T, 1e4 * np.ones(len(q))]), np.array([0, 0, 1e4]))
        told = (w / w.sum()) @ q * max(np.abs(p[m]).max(), 1e-12)
        assert abs(np.linalg.norm(told) - np.linalg.norm(found)) < 1e-5 * max(np.abs(p[m]).max(), 1e-9)


def test_turning_the_set_turns_the_point():
    points, present = _random_sets(100, 2)
    c, s = np.cos(0.7), np.sin(0.7)
    turn = np.array([[c, -s], [s, c]])
    turned = smallest_norm(points, present) @ turn.T
    np.testing.assert_allclose(smallest_norm(points @ turn.T, present), turned, atol=1e-9)


def test_sets_that_move_as_wholes_are_told_as_if_laid_there():
    points, present = _random_sets()
    hulls = Hulls(points, present)
    for seed in range(3):
        moved = np.random.default_rng(seed).normal(size=(len(points), 2)) * (seed / 2)
        there = smallest_norm(points + moved[:, None], present)
        np.testing.assert_allclose(hulls.nearest(moved), there, atol=1e-12)
        assert np.isnan(there[~present.any(1)]).all() and (there == 0).any()
    nobody = Hulls(points, np.zeros_like(present))
    assert np.isnan(nobody.nearest(np.zeros((len(points), 2)))).all()


def test_shapes_are_checked():
    with pytest.raises(ValueError, match="expected"):
        Hulls(np.zeros((3, 2)), np.ones((3, 1), bool))
    with pytest.raises(ValueError, match="expected"):
        smallest_norm(np.zeros((3, 2)), np.ones((3, 1), bool))
    with pytest.raises(ValueError, match="expected"):
        smallest_norm_thick(np.zeros((3, 2)), np.ones((3, 1), bool), np.zeros((3, 3, 2)))
    with pytest.raises(ValueError, match="arms"):
        smallest_norm_thick(np.zeros((3, 1, 2)), np.ones((3, 1), bool), np.zeros((3, 2, 2)))


@pytest.mark.parametrize("kind", ["any", "one place", "no arms", "neither", "one line", "arms of one line", "tiny"])
def test_a_thick_hull_is_that_of_all_its_corners(kind):
    rng = np.random.default_rng(3)
    points = rng.normal(size=(2000, 5, 2)) + 2 * rng.normal(size=(2000, 1, 2))
    arms = rng.normal(size=(2000, 3, 2)) * rng.choice([1e-3, 0.1, 1.0], size=(2000, 1, 1))
    if kind in ("one place", "neither"):
        points[:] = points[:, :1]
    if kind in ("no arms", "neither"):
        arms[:] = 0
    if kind == "one line":
        points[..., 1] = arms[..., 1] = 0
    if kind == "arms of one line":
        arms[:] = arms[:, :1]
    if kind == "tiny":
        points, arms = 1e-6 * points, 1e-6 * arms
    present = rng.random(points.shape[:2]) < 0.7
    u, v, w = np.moveaxis(arms, 1, 0)[:, :, None]
    corners = np.concatenate([points + arm for q in (v, w) for arm in (u + q, u - q, q - u, -u - q)], 1)
    told = smallest_norm(corners, np.tile(present, 8))
    found = smallest_norm_thick(points, present, arms)
    size = np.abs(corners).max((1, 2))[:, None]
    np.testing.assert_allclose(found / size, told / size, atol=1e-7)
    assert kind == "neither" or (0.0 < np.mean(~found.any(1)) < 0.6)
