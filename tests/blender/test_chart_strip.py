# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart as a strip: where blocks, lines and numbers lie, and that it follows the last check."""

import ctypes
from dataclasses import replace
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import charting, compat, session, settings
from plumbline.blender_addon.drawing import bars, chart_rows
from plumbline.blender_addon.panels import timing_chart
from plumbline.core.chart import HOLD, MOVE, MOVING_HOLD, POSE, Chart, Row, Stretch, chart
from plumbline.core.palette import LANE_COLORS, PAPER
from plumbline.core.study import Study
from plumbline.core.testing import cost

from .asking import check, checked
from .sampling.figure import figure, walk

AXIS = bars.Axis(scale=5.0, shift=20.0, width=1000.0, height=400.0)
ROWS = (
    Row("head", "turn", 1, (Stretch(HOLD, 1, 20), Stretch(MOVE, 20, 32), Stretch(MOVING_HOLD, 32, 60))),
    Row("hand.L", "path", -1, (Stretch(POSE, 1, 9), Stretch(POSE, 10, 60))),
)
#: The pixel up to which no channel lies.
FREE = 310.0
CHART = Chart("Keeper", 1, 60, 1, ROWS, 28, ("head",), (), ())


def boxes(picture: bars.Picture, color: tuple[float, float, float]) -> np.ndarray:
    """Left, bottom, right, top (n, 4) of the boxes of a color, from above and from the left."""
    corners, colors = picture.arrays()
    alike = np.abs(colors[::6, :3] - color).max(axis=1) < 1e-5
    each = corners.reshape(-1, 6, 3)[alike]
    return np.column_stack([each[:, :, 0].min(1), each[:, :, 1].min(1), each[:, :, 0].max(1), each[:, :, 1].max(1)])


def test_a_move_is_a_block_from_its_first_to_its_last_frame_with_its_length() -> None:
    picture = chart_rows.rows(CHART, AXIS, FREE)
    (block,) = boxes(picture, LANE_COLORS["Spacing"])
    assert block[[0, 2]] == pytest.approx([20 + 5 * 20, 20 + 5 * 32 - 1])
    lengths = [letter for letter in picture.letters if letter.x]
    assert [letter.text for letter in lengths] == ["12"]
    assert lengths[0].x == pytest.approx(20 + 5 * 26) and block[1] < lengths[0].y < block[3]


def test_holds_are_lines_and_live_ones_are_broken() -> None:
    drawn = boxes(chart_rows.rows(CHART, AXIS, FREE), PAPER)
    lines = drawn[drawn[:, 3] - drawn[:, 1] < 2]
    hold = lines[lines[:, 0] < 120]
    assert hold[:, [0, 2]] == pytest.approx(np.array([[25, 120]]))
    dashes = lines[lines[:, 0] >= 180]
    assert len(dashes) > 10 and (dashes[1:, 0] > dashes[:-1, 2]).all() and dashes[-1, 2] <= 320 + 1e-3


def test_poses_are_ticks_and_the_still_tail_is_lighter() -> None:
    drawn = boxes(chart_rows.rows(CHART, AXIS, FREE), PAPER)
    ticks = drawn[(drawn[:, 2] - drawn[:, 0] < 2) & (drawn[:, 3] - drawn[:, 1] > 5)]
    assert ticks[:, 0] == pytest.approx([25, 70])
    tail = drawn[drawn[:, 3] - drawn[:, 1] > 20]
    assert tail[:, [0, 2]] == pytest.approx(np.array([[20 + 5 * 32, 20 + 5 * 60]]))


def test_rows_lie_at_the_bottom_and_never_where_a_channel_lies() -> None:
    many = replace(CHART, rows=ROWS * 20)
    for free, below in ((50.0, 0.0), (150.0, 0.0), (310.0, 0.0), (310.0, 90.0), (310.0, 300.0), (-200.0, 0.0)):
        corners, _ = chart_rows.rows(many, AXIS, free, below).arrays()
        assert not len(corners) or (corners[:, 1].max() <= free and corners[:, 1].min() == max(below, 12.0))
        assert bool(len(corners)) == (free - max(below, 12.0) > 30)
    alone, _ = chart_rows.rows(many, AXIS, 400.0).arrays()
    assert alone[:, 1].max() <= 370, "the scrub bar stays free where there are no channels"
    assert chart_rows.fitting(many, AXIS, 30.0) == 0
    names = [letter.text for letter in chart_rows.rows(CHART, AXIS, FREE).letters if not letter.x]
    assert names == ["head", "path of the left hand"]


def test_rows_that_have_no_room_are_counted() -> None:
    many = replace(CHART, rows=ROWS * 20)
    for below in (0.0, 90.0):
        told = [letter for letter in chart_rows.rows(many, AXIS, FREE, below).letters if not letter.x]
        count = chart_rows.fitting(many, AXIS, FREE, below)
        assert len(told) == count + 1 and told[-1].text == f"+ {40 - count}"
        assert told[-1].y < min(letter.y for letter in told[:-1])


class Region:
    """A region whose View2D lies in memory as Blender's: the box of all channels, then the one that is seen."""

    width, height = 800, 500

    def __init__(self, *memory: float) -> None:
        self.memory = (ctypes.c_float * 8)(*memory)
        self.view2d = self

    def as_pointer(self) -> int:
        return ctypes.addressof(self.memory)

    def view_to_region(self, x: float, y: float, clip: bool) -> tuple[int, int]:
        return round((x - 10) * 4), round(y + 500)


def test_the_channels_end_is_told_only_where_blender_keeps_it_as_it_did() -> None:
    assert compat.channels_end(Region(0, 300, -184, 0, 10, 210, -500, 0)) == 316
    assert compat.channels_end(Region(0, 300, -900, 0, 10, 210, -500, 0)) == -400
    assert compat.channels_end(Region(10, 210, -500, 0, 0, 300, -184, 0)) is None


def test_everything_grows_with_the_interface() -> None:
    short = replace(CHART, rows=(ROWS[1],))
    small = chart_rows.rows(short, AXIS, FREE).arrays()[0]
    large = chart_rows.rows(short, bars.Axis(10.0, 40.0, 2000.0, 800.0, 2.0), 2 * FREE).arrays()[0]
    assert large == pytest.approx(2 * small)


def test_a_long_chart_is_laid_out_sixty_times_a_second() -> None:
    row = Row("head", "turn", 1, tuple(Stretch((MOVE, MOVING_HOLD)[k % 2], 8 * k, 8 * k + 8) for k in range(120)))
    long = replace(CHART, rows=(row,) * 20)
    assert cost.seconds(lambda: chart_rows.rows(long, AXIS, FREE).arrays()) < 1 / 60


@pytest.fixture
def charted(face: None) -> Any:
    """A walking figure, checked, whose chart is switched on and ready."""
    bpy.context.scene.frame_end = 30
    walk(figure())
    check()
    settings.state(bpy.context).show_chart = True
    assert charting.charts_of(bpy.context.scene) is None, "drawing only asks for it"
    while charting.work_out(bpy.context.scene):
        pass
    yield charting.chart_of(bpy.context)
    settings.state(bpy.context).show_chart = False


def test_it_is_the_chart_of_the_last_check(charted: Chart) -> None:
    shot = checked().shot
    assert shot is not None and charted == Study(shot).of(chart, shot.characters[0])
    assert any(row.of(MOVE) for row in charted.rows)
    assert charting.charts_of(bpy.context.scene) == (charted,), "kept, not worked out anew"
    check()
    assert charting.charts_of(bpy.context.scene) is None, "another check, another chart"


def test_the_panel_says_what_the_chart_says_of_the_whole(charted: Chart) -> None:
    assert timing_chart.said(CHART) == ["Still for 28 frames after the last move, of the head"]
    dead = replace(CHART, tail=0, still=("toe.L",), dead=("head",))
    assert timing_chart.said(dead) == [
        "No still tail: the shot ends in a move", "Never turns: left toe",
        "Not animated yet: head, held for most of the shot while the body carries it"]
    assert timing_chart.said(replace(CHART, ends=())) == ["No part moves"]
    assert session.job is None and timing_chart.PLUMBLINE_PT_timing_chart.poll(bpy.context)
