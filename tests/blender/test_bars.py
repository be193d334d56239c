# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks of notes on a time axis, as arrays: where bars lie, what stays visible in a crowd, and what the mouse hits."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.blender_addon.drawing import bars
from plumbline.core.check import LANES
from plumbline.core.note import Note, Severity
from plumbline.core.palette import KEY, LANE_COLORS, PAPER
from plumbline.core.testing import cost

AXIS = bars.Axis(scale=5.0, shift=20.0, width=1000.0, height=41.0)
TALL = replace(AXIS, height=300.0)
SLIP = Note(
    "slip", "Contacts", "Keeper", "foot.L", 10, 20, 18, Severity.MEDIUM, 0.05, 0.04, "m", "a table", "slips", None, ()
)


def note(start, end, severity=Severity.MEDIUM, lane="Contacts", **more):
    return replace(SLIP, start=start, end=end, worst=end, severity=severity, lane=lane, **more)


def boxes(picture, color, alpha=None):
    """Bounding boxes of the triangles of this color, as drawn."""
    corners, colors = picture.arrays()
    out = []
    for triangle, tint in zip(corners.reshape(-1, 3, 3), colors.reshape(-1, 3, 4), strict=True):
        if np.allclose(tint[0, :3], color, atol=1e-5) and (alpha is None or np.isclose(tint[0, 3], alpha)):
            out.append((*triangle[:, :2].min(0), *triangle[:, :2].max(0)))
    return np.unique(np.array(out).reshape(-1, 4).round(4), axis=0)


def test_a_bar_spans_half_a_frame_more_and_hangs_longer_when_worse():
    for severity, height in zip(Severity, (3, 5, 8), strict=True):
        picture = bars.rail(bars.table([note(10, 20, severity)]), AXIS)
        assert picture.hits[0] == pytest.approx([20 + 5 * 9.5, 40 - height, 20 + 5 * 20.5, 40])


def test_a_short_note_far_out_still_shows():
    picture = bars.rail(bars.table([note(10, 10)]), replace(AXIS, scale=0.01))
    assert picture.hits[0, 2] - picture.hits[0, 0] == pytest.approx(3.0)


def test_everything_grows_with_the_interface():
    small = bars.rail(bars.table([note(10, 20)], None), AXIS)
    large = bars.rail(bars.table([note(10, 20)], None), bars.Axis(10.0, 40.0, 2000.0, 82.0, 2.0))
    assert large.arrays()[0] == pytest.approx(2 * small.arrays()[0])


def test_the_rail_keeps_to_the_top_of_the_scrub_bar():
    notes = [note(k, k + 5, s) for k in range(0, 60, 7) for s in Severity]
    corners, _ = bars.rail(bars.table(notes), AXIS).arrays()
    assert corners[:, 1].min() >= AXIS.height - 11


def test_nested_notes_stay_visible_by_their_lengths():
    low, high = note(0, 50, Severity.LOW), note(10, 20, Severity.HIGH)
    picture = bars.rail(bars.table([low, high]), AXIS)
    assert list(picture.who) == [1, 0], "the long low bar is drawn over the tall one, which hangs out below"


def test_of_equals_the_shorter_is_drawn_over_the_longer():
    picture = bars.rail(bars.table([note(12, 15), note(10, 60)]), AXIS)
    assert list(picture.who) == [1, 0]


def test_a_letter_keeps_clear_of_the_bars_over_its_own():
    covers = note(25, 45, lane="Limbs")
    long = note(10, 60, Severity.HIGH)
    (letter,) = bars.rail(bars.table([long, covers]), AXIS).letters
    assert letter.text == "C"
    over = AXIS.x(covers.start - 0.5), AXIS.x(covers.end + 0.5)
    assert not over[0] - 4 < letter.x < over[1] + 4
    hidden = bars.rail(bars.table([note(10, 20, Severity.HIGH), note(10, 20, lane="Limbs")]), AXIS)
    assert not hidden.letters, "no letter of one lane on another's bar"


def test_the_selected_note_says_its_lane_however_low_its_bar():
    low = note(10, 60, Severity.LOW)
    (letter,) = bars.rail(bars.table([low, note(30, 40)], low), AXIS).letters
    chip = boxes(bars.rail(bars.table([low], low), AXIS), LANE_COLORS["Contacts"], 1.0)
    assert letter.text == "C" and any(c[0] <= letter.x <= c[2] and c[3] - c[1] == pytest.approx(9) for c in chip)


def test_a_crowd_keeps_color_for_high_notes_and_one_line_for_the_rest():
    notes = [note(k, k + 3, Severity.LOW) for k in range(100)] + [note(30, 60, Severity.HIGH)]
    picture = bars.rail(bars.table(notes), AXIS)
    assert len(picture.hits) == 1 and picture.who[0] == 100
    line = boxes(picture, PAPER, 0.42)
    assert len(line) == 1 and line[0][0] <= 20 and line[0][2] >= 20 + 5 * 102


def test_the_selected_note_of_a_crowd_is_still_drawn():
    notes = [note(k, k + 3, Severity.LOW) for k in range(100)]
    picture = bars.rail(bars.table(notes, notes[40]), AXIS)
    assert list(picture.who) == [40]


def test_the_plumb_line_of_the_selected_note_ends_above_the_keys():
    chosen = note(10, 20)
    picture = bars.rail(bars.table([chosen], chosen), AXIS)
    lane = boxes(picture, LANE_COLORS["Contacts"], 1.0)
    x = float(AXIS.x(20))
    hanging = lane[(lane[:, 0] < x) & (lane[:, 2] > x) & (lane[:, 1] < 31)]
    assert len(hanging) >= 1 and hanging[:, 1].min() == pytest.approx(AXIS.height - 27)


def test_every_lane_has_its_row_with_its_letter_in_the_catalogues_order():
    notes = [note(10, 20, lane=lane) for lane in reversed(LANES)]
    picture = bars.rows(bars.table(notes), TALL)
    letters = sorted(picture.letters, key=lambda letter: -letter.y)
    assert [letter.text for letter in letters] == list(LANES.values())
    top = {notes[i].lane: box[3] for i, box in zip(picture.who, picture.hits, strict=True)}
    assert [top[lane] for lane in LANES] == sorted(top.values(), reverse=True)
    assert np.diff(sorted(top.values())) == pytest.approx(12.0)
    assert picture.top < TALL.height - 60, "the keys keep their room"


def test_where_the_keys_need_the_height_the_rows_become_the_rail():
    notes = [note(10, 20, lane=lane) for lane in LANES]
    low = replace(TALL, height=120.0)
    assert bars.rows(bars.table(notes), low).arrays()[0] == pytest.approx(bars.rail(bars.table(notes), low).arrays()[0])


def test_a_note_on_trial_is_striped_and_one_set_aside_is_hollow():
    lane = np.array(LANE_COLORS["Contacts"])
    trial = bars.rail(bars.table([note(10, 20, trial=True)]), AXIS)
    assert len(boxes(trial, lane * 0.36, 1.0)) and len(boxes(trial, lane, 1.0)) > 5
    stripes = boxes(trial, lane, 1.0)
    assert (stripes[:, [0, 2]] >= trial.hits[0, 0] - 1e-3).all() and (
        stripes[:, [0, 2]] <= trial.hits[0, 2] + 1e-3
    ).all()
    aside = bars.rail(bars.table([note(10, 20, set_aside="wet")]), AXIS)
    assert len(boxes(aside, lane, 0.80)) == 4 and not len(boxes(aside, lane * 0.93, 1.0))


def test_the_mouse_hits_the_shortest_bar_under_it_and_nothing_beside():
    notes = [note(0, 100), note(40, 44), note(120, 130)]
    picture = bars.rail(bars.table(notes), AXIS)
    at = dict(zip(picture.who, picture.hits, strict=True))
    middle = (at[1][[0, 1]] + at[1][[2, 3]]) / 2
    assert picture.hit(*middle, 2.0) == 1
    assert picture.hit(at[0][0] + 1, middle[1], 2.0) == 0
    assert picture.hit(at[2][2] + 2.5, middle[1], 2.0) == -1
    assert picture.hit(middle[0], at[1][1] - 10, 2.0) == -1


def test_a_bar_has_its_keyline_and_the_hovered_one_a_frame():
    table = bars.table([note(10, 20)])
    picture = bars.rail(table, AXIS)
    box = picture.hits[0]
    assert any(np.allclose(b, box + [-1, -1, 1, 1]) for b in boxes(picture, KEY, 0.85))
    assert len(boxes(bars.rail(table, AXIS, hover=0), PAPER, 0.80)) >= 2


def test_the_mouse_finds_the_bar_that_is_seen():
    """A long low bar lies over the top of a short high one, which is seen below it."""
    notes = [note(30, 40, Severity.HIGH), note(10, 60, Severity.LOW)]
    picture = bars.rail(bars.table(notes), AXIS)
    x, top = float(AXIS.x(35)), AXIS.height - 1
    assert picture.hit(x, top - 1.5, 2.0) == 1 and picture.hit(x, top - 6.0, 2.0) == 0


def test_no_notes_draw_nothing():
    for made in (bars.rail(bars.table([]), AXIS), bars.rows(bars.table([]), TALL)):
        assert len(made.arrays()[0]) == 0 and made.hit(10, 10, 2) == -1


def test_five_hundred_notes_are_laid_out_within_a_few_milliseconds():
    """The dearest: a third of them hatched. Each takes its time anew where the view moves."""
    rng = np.random.default_rng(3)
    notes = [
        replace(note(int(s), int(s) + 8, list(Severity)[k % 3], list(LANES)[k % 8]), trial=k % 3 == 0)
        for k, s in enumerate(rng.integers(0, 190, 500))
    ]
    table = bars.table(notes, notes[7])
    assert cost.seconds(lambda: bars.rows(table, TALL).arrays(), 20) < 0.005
    few = bars.table([replace(n, severity=Severity.HIGH if k % 12 == 0 else Severity.LOW) for k, n in enumerate(notes)])
    assert cost.seconds(lambda: bars.rail(few, AXIS).arrays(), 20) < 0.003


def hatch(picture, color):
    """Left ends of the stripes of a lane's color that lie within a picture, each once, from the left."""
    corners, colors = picture.arrays()
    own = np.isclose(colors, (*color, 1.0), atol=1e-4).all(axis=1)
    return np.unique(corners[own][::6, 0].round(2))


def test_stripes_of_a_long_bar_are_made_where_it_is_seen_and_move_with_it():
    table = bars.table([replace(note(0, 100_000, lane="Contacts"), trial=True)])
    color = LANE_COLORS["Contacts"]
    near = bars.Axis(30.0, -1_500_000.0, 900.0, 60.0)
    seen = hatch(bars.rail(table, near), color)
    assert 900 / 5 <= len(seen) < 900 / 5 + 12 and seen.min() < 0 and seen.max() > 890
    moved = hatch(bars.rail(table, bars.Axis(30.0, -1_500_000.0 + 7.0, 900.0, 60.0)), color)
    both = np.intersect1d((seen + 7.0).round(0), moved.round(0))
    assert len(both) > 170, "a view that moves by seven pixels moves the stripes by seven"


def test_a_selected_bar_that_is_worst_at_its_start_keeps_its_letter_whole():
    """The notch at the worst frame is drawn before the chip, not over it."""
    notes = [replace(note(10, 40), worst=10)]
    picture = bars.rail(bars.table(notes, notes[0]), AXIS)
    corners, colors = picture.arrays()
    letter = picture.letters[-1]
    inside = (corners[:, 0].reshape(-1, 3).min(1) <= letter.x) & (corners[:, 0].reshape(-1, 3).max(1) >= letter.x)
    low, high = corners[:, 1].reshape(-1, 3).min(1), corners[:, 1].reshape(-1, 3).max(1)
    inside &= (low <= letter.y + 3) & (high >= letter.y + 3)
    top = colors[::3][np.flatnonzero(inside)[-1]]
    assert top == pytest.approx((*LANE_COLORS[notes[0].lane], 1.0), abs=1e-5)
