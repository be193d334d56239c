# SPDX-License-Identifier: GPL-3.0-or-later
"""Bad input at the command line: one clear line, exit code 2, and no notes file left behind.

Most of it is asked of the command inside this process; of each manner of saying it something is asked of the real one.
"""

import gzip
import os

import bpy
import pytest

from .tower import keeper, one_line, plumbline, plumbline_here, saved


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--checks", "slop"], 'there is no check "slop"; there are '),
        (["--checks", ","], "--checks names no check"),
        (["--range", "20-5"], "the range 20-5 runs backward"),
        (["--range", "5-7"], "holds 3 frames; at least 4 are needed"),
        (["--range", "-9--7"], "holds 3 frames"),
        (["--range", "5"], 'the range "5" is not two whole frames'),
        (["--range", "a-b"], "is not two whole frames"),
        (["--range", "900-990"], "outside the scene's range 1 to 48"),
        (["--scene", "Night"], 'there is no scene "Night"; the file has "Scene"'),
        (["--character", "Pilot"], "no character named 'Pilot' (it has: Keeper)"),
        (["--card", "none.json"], "the card none.json cannot be read"),
        (["--card", "bad.json"], "bad.json: the card's map names an unknown part 'third_leg'"),
        (["--card", "types.json"], "types.json: the card's height must be a number"),
        (["--card", "prose.json"], "prose.json: the card is not JSON"),
        (["--card", "Pilot=good.json"], "a card was given for 'Pilot', but the characters are: Keeper"),
        (["--card", "good.json", "--card", "good.json"], "two cards are given for every character"),
        (["--fail-on", "sometimes"], "--fail-on"),
        (["--colour"], "--colour"),
        (["--json", "none/notes.json"], "there is no folder none"),
        (["--json", "."], "is a folder"),
        (["--json", "tower.blend"], "tower.blend holds something that is no notes file; it is left as it is"),
    ],
    ids=lambda v: " ".join(v) if isinstance(v, list) else "",
)
def test_bad_words_are_told_in_one_line_and_leave_no_notes(shot, tmp_path, monkeypatch, capfd, words, says):
    (tmp_path / "bad.json").write_text('{"map": {"third_leg": "x"}}')
    (tmp_path / "types.json").write_text('{"height": "tall"}')
    (tmp_path / "prose.json").write_text("a tall keeper")
    (tmp_path / "good.json").write_text('{"schema": 1}')
    before = shot.read_bytes()
    asked = [] if "--json" in words else ["--json", "notes.json"]
    monkeypatch.chdir(tmp_path)
    run = plumbline_here(capfd, "check", "tower.blend", *words, *asked)
    assert run.returncode == 2, run.stderr
    assert says in one_line(run.stderr)
    assert sorted(os.listdir(tmp_path)) == ["bad.json", "good.json", "prose.json", "tower.blend", "types.json"]
    assert shot.read_bytes() == before


NEWER_OLD, NEWER_NEW = b"BLENDER-v999RENDH" + bytes(400), b"BLENDER17-01v9900REND" + bytes(400)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "there is no file"),
        ("folder", "is a folder"),
        (b"", "the file is empty"),
        (b"hello", "is not a .blend file"),
        (b"\x89PNG\r\n\x1a\n" + bytes(90), "is not a .blend file"),
        (b"BLENDER-v4", "cut short"),
        (NEWER_OLD, "saved by Blender 9.99, newer than this Blender"),
        (NEWER_NEW, "saved by Blender 99.0, newer than this Blender"),
        (gzip.compress(NEWER_OLD), "saved by Blender 9.99"),
        (b"\x28\xb5\x2f\xfd" + os.urandom(300), "not a .blend file"),
        (b"BLENDER-v402RENDH" + bytes(400), "cut short or damaged"),
        (gzip.compress(b"BLENDER-v402" + bytes(999))[:20], "cut short"),
    ],
    ids=lambda v: repr(v)[:24],
)
def test_files_that_are_no_shot_are_told_in_one_line(tmp_path, capfd, content, says):
    path = tmp_path / "tower.blend"
    if content == "folder":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content)
    notes = tmp_path / "notes.json"
    run = plumbline_here(capfd, "check", path, "--json", notes)
    assert run.returncode == 2, run.stderr
    assert says in one_line(run.stderr)
    assert not notes.exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["tower.blend", "--range", "900-990"], "outside the scene's range 1 to 48"),
        (["tower.blend", "--card", "types.json"], "types.json: the card's height must be a number"),
        (["newer.blend"], "saved by Blender 9.99, newer than this Blender"),
        (["diary.blend"], "is not a .blend file"),
    ],
    ids=" ".join,
)
def test_the_process_says_the_same(shot, tmp_path, words, says):
    (tmp_path / "types.json").write_text('{"height": "tall"}')
    (tmp_path / "newer.blend").write_bytes(NEWER_OLD)
    (tmp_path / "diary.blend").write_bytes(b"dear diary")
    before = sorted(os.listdir(tmp_path))
    run = plumbline("check", *words, "--json", "notes.json", cwd=tmp_path)
    assert run.returncode == 2, run.stderr
    assert says in one_line(run.stderr)
    assert sorted(os.listdir(tmp_path)) == before


@pytest.mark.parametrize(("compress", "share"), [(False, 0.9), (True, 0.3)])
def test_a_file_cut_short(tmp_path, compress, share):
    keeper()
    path = tmp_path / "tower.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path), compress=compress)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    run = plumbline("check", path)
    assert run.returncode == 2, run.stderr
    assert "cut short or damaged" in one_line(run.stderr)


def test_a_file_without_an_armature(tmp_path):
    run = plumbline("check", saved(tmp_path / "empty.blend"), "--json", tmp_path / "n.json")
    assert run.returncode == 2
    assert "no armature" in one_line(run.stderr)
    assert not (tmp_path / "n.json").exists()


def test_a_file_that_may_not_be_read(tmp_path):
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        pytest.skip("root may read anything")
    path = tmp_path / "tower.blend"
    path.write_bytes(b"BLENDER-v402")
    path.chmod(0)
    run = plumbline("check", path)
    assert run.returncode == 2
    assert "cannot be read: permission denied" in one_line(run.stderr)


def test_bad_input_takes_an_older_notes_file_away(tmp_path):
    notes = tmp_path / "notes.json"
    notes.write_text('{\n "schema": 1,\n "complete": true\n}')
    assert plumbline("check", saved(tmp_path / "empty.blend"), "--json", notes).returncode == 2
    assert not notes.exists()


@pytest.mark.parametrize(
    "words",
    [
        ["none.blend"],
        ["tower.blend", "--checks", "slop"],
        ["tower.blend", "--range", "20-5"],
        ["tower.blend", "--card", "none.json"],
        ["tower.blend", "--fail-on", "sometimes"],
        ["tower.blend", "--colour"],
        [],
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("joint", [False, True])
def test_bad_words_take_an_older_notes_file_away(tmp_path, monkeypatch, capfd, words, joint):
    """Whoever finds notes beside a shot takes them for today's."""
    (tmp_path / "tower.blend").write_bytes(b"BLENDER-v402RENDH" + bytes(400))
    notes = tmp_path / "notes.json"
    notes.write_text('{\n "schema": 1,\n "complete": true\n}')
    monkeypatch.chdir(tmp_path)
    run = plumbline_here(capfd, "check", *words, *(["--json=notes.json"] if joint else ["--json", "notes.json"]))
    assert run.returncode == 2, run.stderr
    one_line(run.stderr)
    assert os.listdir(tmp_path) == ["tower.blend"]


def test_bad_words_never_take_what_is_no_notes_file(tmp_path):
    (tmp_path / "diary.json").write_text('{"dear": "diary"}')
    assert plumbline("check", "none.blend", "--json", "diary.json", cwd=tmp_path).returncode == 2
    assert (tmp_path / "diary.json").read_text() == '{"dear": "diary"}'
