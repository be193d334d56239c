# SPDX-License-Identifier: GPL-3.0-or-later
"""Frames that an edit of keys can have changed: no fewer than change, and none beyond the nearest unchanged keys."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.key_changes import changed_spans
from plumbline.core.shot import Channel, Keys

X = Channel("Keeper", "walk", "location", 0, "torso")
Z = Channel("Keeper", "walk", "location", 2, "torso")
FRAMES = np.array([1.0, 10.0, 20.0, 30.0, 40.0, 50.0])


def keys(*columns):
    """Keys of several channels: (channel, frames, values)."""
    n = [len(frames) for _, frames, _ in columns]
    frame = np.concatenate([f for _, f, _ in columns]).astype(float)
    value = np.concatenate([v for *_, v in columns]).astype(float)
    ends = np.stack([frame, value], axis=1)
    return Keys(
        tuple(c for c, *_ in columns),
        np.repeat(np.arange(len(columns)), n),
        frame,
        frame,
        value,
        ends - (2, 0),
        ends + (2, 0),
        np.full(len(frame), 2),
        plain=(True,) * len(columns),
    )


BEFORE = keys((X, FRAMES, np.arange(6)), (Z, FRAMES, np.zeros(6)))


def edited(frames=FRAMES, x=None, z=None):
    return keys((X, frames, np.arange(len(frames)) if x is None else x), (Z, FRAMES, np.zeros(6) if z is None else z))


def test_nothing_edited_nothing_changed():
    assert changed_spans(BEFORE, edited(), 1, 50) == ()


def test_a_moved_value_reaches_to_the_keys_beside_it():
    assert changed_spans(BEFORE, edited(z=[0, 0, 0, 5, 0, 0]), 1, 50) == ((20, 40),)


def test_a_key_that_moves_in_time_reaches_over_both_places():
    frames = np.array([1.0, 10.0, 26.0, 30.0, 40.0, 50.0])
    assert changed_spans(BEFORE, edited(frames), 1, 50) == ((10, 30),)


def test_an_inserted_and_a_deleted_key():
    frames = np.array([1.0, 10.0, 20.0, 25.0, 30.0, 40.0, 50.0])
    values = np.array([0, 1, 2, 9, 3, 4, 5.0])
    assert changed_spans(BEFORE, edited(frames, values), 1, 50) == ((20, 30),)
    assert changed_spans(edited(frames, values), BEFORE, 1, 50) == ((20, 30),)


def test_the_first_and_last_keys_reach_to_the_ends_of_the_shot():
    assert changed_spans(BEFORE, edited(z=[3, 0, 0, 0, 0, 0]), -5, 60) == ((-5, 10),)
    assert changed_spans(BEFORE, edited(z=[0, 0, 0, 0, 0, 3]), -5, 60) == ((40, 60),)


def test_spans_apart_stay_apart_and_neighbors_merge():
    assert changed_spans(BEFORE, edited(z=[1, 0, 0, 0, 0, 1]), 1, 50) == ((1, 10), (40, 50))
    assert changed_spans(BEFORE, edited(z=[0, 1, 0, 0, 1, 0]), 1, 50) == ((1, 20), (30, 50))
    assert changed_spans(BEFORE, edited(z=[0, 1, 0, 1, 0, 0]), 1, 50) == ((1, 40),)


@pytest.mark.parametrize("column", ["left", "right", "interpolation"])
def test_handles_and_interpolation_count(column):
    changed = getattr(BEFORE, column).copy()
    changed[2] += 1
    assert changed_spans(BEFORE, replace(BEFORE, **{column: changed}), 1, 50) == ((10, 30),)


def test_a_curve_that_comes_goes_or_gets_a_modifier_changes_all():
    one = keys((X, FRAMES, np.arange(6)))
    for a, b in ((BEFORE, one), (one, BEFORE), (BEFORE, None), (BEFORE, replace(BEFORE, plain=(False, True)))):
        assert changed_spans(a, b, 1, 50) == ((1, 50),)
    assert changed_spans(None, None, 1, 50) == ()


def test_rounding_is_no_edit():
    assert changed_spans(BEFORE, edited(z=np.full(6, 1e-6)), 1, 50) == ()


def test_what_it_says_unchanged_is_unchanged_on_random_edits():
    rng = np.random.default_rng(11)
    for _ in range(60):
        frames = np.unique(rng.integers(1, 100, 12)).astype(float)
        values = rng.normal(size=len(frames))
        other = values.copy()
        other[rng.integers(len(frames))] += 1
        spans = changed_spans(keys((X, frames, values)), keys((X, frames, other)), 1, 100)
        at = np.arange(1, 101)
        differs = np.abs(np.interp(at, frames, values) - np.interp(at, frames, other)) > 1e-9
        inside = np.zeros(100, bool)
        for a, b in spans:
            inside[a - 1 : b] = True
        assert not (differs & ~inside).any()
