# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart as lines: columns, both counts of frames, what it says of the whole, names that steer a terminal."""

from dataclasses import replace

import numpy as np
from plumbline.core.chart import Chart, Row, Stretch
from plumbline.core.report.chart_table import chart_lines
from plumbline.core.testing.puppet import act

FRAMES = np.arange(101.0, 149.0)
SHOT = replace(act({}, np.zeros((48, 3))), frames=FRAMES, first=101, last=148, file="/shots/tower.blend")
ARM = Row("upper_arm.L", "turn", 1, (Stretch("hold", 101, 113), Stretch("move", 113, 121),
                                     Stretch("moving hold", 121, 148)))
POSES = Row("hand.R", "turn", -1, (Stretch("pose", 101, 101), Stretch("pose", 102, 148)))


def said(**more) -> list[str]:
    fields = {"character": "Keeper", "first": 101, "last": 148, "step": 1, "rows": (ARM, POSES), "tail": 27,
              "ends": ("upper_arm.L",), "still": (), "dead": ()}
    return chart_lines(SHOT, [Chart(**(fields | more))])


def test_a_line_for_each_stretch_with_scene_frames_own_frames_and_length() -> None:
    assert said() == [
        "tower.blend: frames 101 to 148 at 24 fps, the shot's own count from 1",
        "",
        "Keeper, on ones",
        "part            exposure  what         scene frames  own frames  length",
        "left upper arm  on ones   hold         101 to 113    1 to 13         12",
        "                          move         113 to 121    13 to 21         8",
        "                          moving hold  121 to 148    21 to 48        27",
        "right hand      stepped   pose         101           1                1",
        "                          pose         102 to 148    2 to 48         47",
        "still tail: 27 frames after the last move, of the left upper arm",
    ]


def test_what_is_said_of_the_whole() -> None:
    assert said(tail=1)[-1] == "still tail: 1 frame after the last move, of the left upper arm"
    assert said(tail=0)[-1] == "still tail: none, the shot ends in a move"
    assert said(tail=47, ends=())[-1] == "no part moves"
    assert said(still=("neck", "toe.L"))[-1] == "never turns: neck and left toe"
    assert said(dead=("hand.L",))[-1] == (
        "not animated yet: left hand, held for most of the shot while the body carries it")
    assert said(why="the bones' turns were not read")[-1] == "the bones' turns were not read"


def test_names_cannot_steer_a_terminal_and_remarks_are_told() -> None:
    lines = chart_lines(replace(SHOT, remarks=("two \x1b[2Jrigs",)), [])
    assert lines[-2:] == ["besides:", "  two \\x1b[2Jrigs"]
    assert not any("\x1b" in line for line in said(character="Kee\x1b[2Jper"))
