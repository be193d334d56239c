# SPDX-License-Identifier: GPL-3.0-or-later
"""Several armatures: one character or several."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.body_map.find import find
from plumbline.core.body_map.group import group
from plumbline.core.body_map.skeleton import Skeleton, merge
from plumbline.core.testing.humans import HABITS, human

BODY = human(3, HABITS[0], straight=True).skeleton


def at(sk: Skeleton, x: float, armature: str) -> Skeleton:
    return replace(sk, heads=sk.heads + [x, 0, 0], tails=sk.tails + [x, 0, 0], armatures=(armature,) * len(sk))


TOP = float(BODY.heads[:, 2].max()) - 0.05


def prop(x: float, armature: str, high: float = TOP) -> Skeleton:
    heads = np.array([[x, 0, high], [x, 0, high + 0.05]])
    return Skeleton(
        ("base", "tip"),
        (armature,) * 2,
        np.array([-1, 0]),
        heads,
        heads + [0, 0, 0.05],
        np.tile(np.eye(3), (2, 1, 1)),
        np.ones(2, bool),
        np.zeros(2),
    )


def test_a_hat_within_the_bounds_belongs_to_the_body() -> None:
    assert group([prop(0, "hat"), at(BODY, 0, "keeper")]) == [(1, 0)]


def test_two_people_are_two_characters_and_a_far_crane_is_alone() -> None:
    assert group([at(BODY, 0, "a"), at(BODY, 5, "b"), prop(40, "crane")]) == [(0,), (1,), (2,)]


def test_a_carried_or_meshed_armature_joins_wherever_it_stands() -> None:
    three = [at(BODY, 0, "a"), prop(9, "cape"), prop(-9, "face")]
    assert group(three, carriers=(-1, 0, -1), meshes=[(2, 0)]) == [(0, 1, 2)]


def test_a_rider_is_not_the_horse() -> None:
    assert group([at(BODY, 0, "rider"), at(BODY, 0.1, "mount")], carriers=(1, -1), meshes=[(0, 1)]) == [(0,), (1,)]


def test_a_lantern_between_two_people_is_not_guessed() -> None:
    assert group([at(BODY, 0, "a"), at(BODY, 0.05, "b"), prop(0.02, "lantern", 1.0)]) == [(0,), (1,), (2,)]


def test_merged_armatures_map_and_name_bones_with_their_armature() -> None:
    both = merge([at(BODY, 0, "keeper"), prop(0, "hat")])
    found = find(both)
    assert {p: both.names[b] for p, b in found.parts.items()} == {p: BODY.names[b] for p, b in find(BODY).parts.items()}
    assert both.label(found.parts["pelvis"]) == f"keeper/{BODY.names[found.parts['pelvis']]}"
    assert find(both, {"toe.L": "hat/tip"}).parts["toe.L"] == len(both) - 1


def test_merging_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        merge([])
