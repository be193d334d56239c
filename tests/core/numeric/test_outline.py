# SPDX-License-Identifier: GPL-3.0-or-later
"""Gaps of outlines against shapely: its kept answers, and asked again where it is at hand."""

import importlib.util
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from plumbline.core.numeric.cover import Cover
from plumbline.core.numeric.outline import chain, contour, gap, near_pairs, sample
from plumbline.core.numeric.topology import Topology, topology, weld

FILE = Path(__file__).parents[2] / "oracles" / "outline_gaps.py"


def oracle() -> Any:
    spec = importlib.util.spec_from_file_location("outline_gaps", FILE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def flat_contour(top: Topology, flat: np.ndarray) -> Any:
    own = flat[top.vertices]
    return contour(top, own[:, 0], own[:, 1], np.ones(len(own)))


def test_gap_agrees_with_shapelys_kept_answers() -> None:
    asked = oracle()
    places, faces = asked.body()
    top = topology(faces, weld(places))
    assert not top.rim.any() and not top.flip.any()
    kept = np.load(FILE.with_suffix(".npz"))
    near = 0
    for a, b, expected in zip(kept["a"], kept["b"], kept["gap"], strict=True):
        found, on_a, on_b = gap(flat_contour(top, a), flat_contour(top, b), 40.0)
        if expected > 40.0:
            assert found == np.inf
        elif expected > 0.0:
            near += 1
            assert abs(found - expected) < 1e-9
            assert abs(np.hypot(*(on_a - on_b)) - expected) < 1e-9
    assert near >= 8


def test_gap_agrees_with_shapely_asked_now() -> None:
    pytest.importorskip("shapely")
    asked = oracle()
    places, faces = asked.body()
    top = topology(faces, weld(places))
    rng = np.random.default_rng()
    for _ in range(10):
        a, b = asked.random_pair(rng)
        expected = asked.ask(a, b)
        found = gap(flat_contour(top, a), flat_contour(top, b), 40.0)[0]
        assert found == np.inf if expected > 40.0 else expected == 0.0 or abs(found - expected) < 1e-9


def test_welding_joins_seams_and_winding_does_not_matter() -> None:
    asked = oracle()
    places, faces = asked.body()
    split, loose = places[faces.ravel()], np.arange(faces.size).reshape(-1, 3)
    turned = loose.copy()
    turned[::2] = turned[::2, ::-1]
    plain = topology(faces, weld(places))
    flat = places[:, :2] * 80.0
    length = np.sort(np.hypot(*(flat_contour(plain, flat).stop - flat_contour(plain, flat).start).T))
    for some in (loose, turned):
        top = topology(some, weld(split))
        assert not top.rim.any()
        edges = flat_contour(top, split[:, :2] * 80.0)
        assert len(edges) == len(length) and np.allclose(np.sort(np.hypot(*(edges.stop - edges.start).T)), length)
        outward = (edges.normal * (edges.start + edges.stop)).sum(axis=1)
        assert (outward > 0).all()


def test_an_open_sheet_has_its_rim() -> None:
    square = np.array([[0.0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0]])
    top = topology(np.array([[0, 1, 2], [0, 2, 3]]), weld(square))
    edges = flat_contour(top, square[:, :2])
    assert len(edges) == 4 and top.rim.sum() == 4
    lines = chain(edges)
    assert len(lines) == 1 and len(lines[0]) == 5
    samples = sample(edges)
    assert len(samples) == 20 and samples.length.sum() == pytest.approx(40.0)


def test_near_pairs_are_all_pairs() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.uniform(0, 60, (150, 2)), rng.uniform(0, 60, (130, 2))
    i, j, distance = near_pairs(a, b, 6.0)
    full = np.linalg.norm(a[:, None] - b, axis=2)
    assert set(zip(i.tolist(), j.tolist(), strict=True)) == set(map(tuple, np.argwhere(full <= 6.0).tolist()))
    assert np.allclose(distance, full[i, j])


def test_cover_tells_the_nearest_triangle() -> None:
    rng = np.random.default_rng(4)
    x, y, w = rng.uniform(0, 200, 90), rng.uniform(0, 200, 90), rng.uniform(0.1, 1, 90)
    triangles = np.arange(90).reshape(-1, 3)
    points = rng.uniform(0, 200, (300, 2))
    window = np.array([0.0, 0.0, 200.0, 200.0])
    found = Cover([(x, y, w, triangles)], window).nearest(points, [0])
    assert len(set(np.isfinite(found))) == 2
    # Cut into things, in a window of just a part of the picture, the nearest is the same.
    some = points[(points < 90).all(axis=1)]
    parted = Cover([(x, y, w, triangles[:7]), (x, y, w, triangles[7:])], np.array([0.0, 0.0, 90.0, 90.0]))
    both = np.maximum(parted.nearest(some, [0]), parted.nearest(some, [1]))
    assert np.array_equal(both, found[(points < 90).all(axis=1)])
    assert np.array_equal(parted.nearest(some, [1, 0]), both)
    for point, told in zip(points, found, strict=True):
        best = -np.inf
        for t in triangles:
            m = np.array([x[t], y[t], np.ones(3)])
            share = np.linalg.solve(m, [*point, 1.0])
            if (share >= 0).all():
                best = max(best, float(share @ w[t]))
        assert told == pytest.approx(best, abs=1e-9) or told == best


def test_a_window_changes_nothing_inside_it() -> None:
    places, faces = oracle().body()
    flat = places[:, :2] * 300.0
    top = topology(faces, weld(places))
    own = flat[top.vertices]
    whole = contour(top, own[:, 0], own[:, 1], np.ones(len(own)))
    low = own.min(axis=0)
    window = np.concatenate([low, low + np.ptp(own, axis=0) * 0.4])
    near = contour(top, own[:, 0], own[:, 1], np.ones(len(own)), window)
    assert 0 < len(near) < len(whole)
    for name in ("start", "stop", "w", "normal", "ends"):
        assert np.array_equal(getattr(near.within(window), name), getattr(whole.within(window), name)), name
