# SPDX-License-Identifier: GPL-3.0-or-later
"""Contacts for the notes file: scene frames of the judged range, and no rows where nothing can be judged."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.contact_rows import contact_rows
from plumbline.core.study import Study
from plumbline.core.testing.pivot_walk import STANCE, walk
from plumbline.core.testing.puppet import act

FPS = 30.0


def _of(shot):
    return Study(shot).of(contact_rows, shot.characters[0])


@pytest.fixture(scope="module")
def shot():
    return walk(FPS).shot


def test_frames_are_the_scenes(shot):
    later = replace(shot, frames=shot.frames + 1000, first=None, last=None)
    rows = _of(later)
    whole = [r for r in rows if r.on is not None and r.off is not None]
    assert len(whole) >= 5
    for row, same in zip(rows, _of(shot), strict=True):
        assert (row.part, row.kind) == (same.part, same.kind)
        assert row.on == (None if same.on is None else pytest.approx(same.on + 1000))
    for row in whole:
        assert (row.off - row.on) / FPS == pytest.approx(STANCE, abs=0.05)


def test_sub_frames_tell_the_same(shot):
    """Sampled twice as often, frames in halves."""
    fine = walk(2 * FPS).shot
    fine = replace(fine, frames=1.0 + (fine.frames - 1) / 2, fps=FPS, first=None, last=None)
    for a, b in zip(_of(shot), _of(fine), strict=True):
        assert a.part == b.part and (a.on is None) == (b.on is None)
        assert a.on is None or abs(a.on - b.on) < 0.033 * FPS


def test_a_contact_that_the_judged_range_cuts_has_no_end_and_one_outside_no_row(shot):
    every = _of(shot)
    cut = next(r for r in every if r.on is not None and r.off is not None)
    middle = round((cut.on + cut.off) / 2)
    begun = _of(replace(shot, first=middle, last=int(shot.frames[-1])))
    assert next(r for r in begun if r.part == cut.part).on is None
    assert all(r.off is None or r.off > middle for r in begun) and len(begun) < len(every)
    ended = _of(replace(shot, first=1, last=middle))
    assert [r for r in ended if r.part == cut.part][-1].off is None
    assert all(r.on is None or r.on <= middle for r in ended) and len(ended) < len(every)


def test_no_rows_where_contacts_cannot_be_judged(shot):
    c = shot.characters[0]
    poses = np.repeat(np.arange(0, shot.count, 12), 12)[:shot.count]
    stepped = replace(c, heads=c.heads[poses], tails=c.tails[poses], axes=c.axes[poses], twist_axes=c.twist_axes[poses])
    assert _of(replace(shot, characters=(stepped,))) == ()
    assert _of(replace(shot, characters=(replace(c, height=17.0),))) == ()
    uneven = walk(FPS, in_place=True, ground=lambda t: t - 0.4 * 1.1 / (4 * np.pi) * np.sin(4 * np.pi * t / 1.1)).shot
    assert _of(uneven) == ()
    assert len(_of(walk(FPS, in_place=True).shot)) >= 6
    assert _of(act({}, np.zeros((24, 3)), FPS)), "a figure that stands has two contacts"
