# SPDX-License-Identifier: GPL-3.0-or-later
"""``plumbline chart`` on real files, in a process of its own."""

import bpy
import pytest
from plumbline.blender_addon.cli import command

from .tower import keeper, one_line, plumbline, saved


def test_the_keyed_moves_of_the_knee_are_printed(shot):
    """The knee is keyed to move from frame 18 to 24 and back from 28 to 34."""
    run = plumbline("chart", shot)
    assert run.returncode == 0, run.stderr
    lines = run.stdout.splitlines()
    start = next(k for k, line in enumerate(lines) if line.startswith("left shin"))
    told = [line.split("  ") for line in lines[start : start + 5]]
    told = [[word.strip() for word in words if word.strip()] for words in told]
    assert [words[-4:] for words in told] == [
        ["hold", "1 to 18", "1 to 18", "17"],
        ["move", "18 to 24", "18 to 24", "6"],
        ["hold", "24 to 28", "24 to 28", "4"],
        ["move", "28 to 34", "28 to 34", "6"],
        ["hold", "34 to 48", "34 to 48", "14"],
    ]
    assert "still tail: 14 frames after the last move, of the left shin" in lines
    assert any(line.startswith("never turns: pelvis, ") for line in lines)


def test_a_range_and_a_scene_frame_that_is_not_the_shots_own(tmp_path, capsys):
    """The same, charted in this process as inside an installed Blender."""
    keeper()
    path = saved(tmp_path / "tower.blend")
    assert command(["chart", str(path), "--range", "10-40"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.split()[-7:] == ["18", "to", "24", "9", "to", "15", "6"] for line in lines)
    assert "still tail: 6 frames after the last move, of the left shin" in lines
    assert command(["check", str(path), "--checks", "slip", "--range", "10-40", "--fail-on", "never"]) == 0


@pytest.mark.parametrize("words", [("no.blend",), ("--range", "9-3"), ("--checks", "slip")])
def test_bad_words_are_one_sentence_and_code_2(shot, words):
    run = plumbline("chart", *(words if words[0] == "no.blend" else (shot, *words)))
    assert run.returncode == 2 and one_line(run.stderr)


def test_a_scene_without_a_figure_cannot_be_charted(tmp_path):
    bpy.context.scene.frame_end = 24
    run = plumbline("chart", saved(tmp_path / "empty.blend"))
    assert run.returncode == 2 and one_line(run.stderr)
