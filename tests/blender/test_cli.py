# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line as people meet it: real files, real child processes, exit codes, what is left on disk."""

import json
import math
import os
from dataclasses import replace
from pathlib import Path

import bpy
import jsonschema
import pytest
from mathutils import Vector
from plumbline.blender_addon import cli
from plumbline.blender_addon.review import exit_code
from plumbline.core.catalogue import catalogue
from plumbline.core.note import Failure, Note, Result, Severity
from plumbline.core.report.json_notes import schema

from .tower import HOSTILE, REAL, child_running, keeper, one_line, plumbline, plumbline_here, saved


def test_a_reversed_knee_becomes_one_note_in_the_file(shot, tmp_path):
    notes = tmp_path / "notes.json"
    run = plumbline("check", shot, "--checks", "joint-limit", "--json", notes)
    assert run.returncode == 1, run.stderr
    data = json.loads(notes.read_text("utf-8"))
    jsonschema.Draft202012Validator(schema()).validate(data)
    assert data["complete"] is True
    assert data["shot"] == {"file": str(shot), "first": 1, "last": 48, "fps": 24, "units": 1}
    assert data["contacts"] == [], "what joint-limit has read tells no contacts"
    (note,) = data["notes"]
    assert (note["check"], note["part"], note["severity"]) == ("joint-limit", "shin.L", "high")
    assert note["measured"] == pytest.approx(51.0, abs=10), "60 degrees less the rest bend of the figure's own knee"
    assert 24 <= note["worst"] <= 28
    assert data["characters"][0]["map"]["shin.L"] == "shin.L"
    assert "left knee" in run.stdout.lower()
    assert sorted(os.listdir(tmp_path)) == ["notes.json", "tower.blend"]


@pytest.mark.parametrize(("fail_on", "code"), [("low", 1), ("high", 1), ("never", 0)])
def test_fail_on_decides_the_code(shot, capfd, fail_on, code):
    words = "check", shot, "--checks", "joint-limit", "--fail-on", fail_on
    assert plumbline_here(capfd, *words).returncode == code


@pytest.mark.parametrize("fail_on", ["low", "medium", "high", "never"])
@pytest.mark.parametrize("severity", list(Severity))
def test_only_notes_that_count_decide_the_code(severity, fail_on):
    note = Note(
        "slip", "Contacts", "Keeper", "foot.L", 1, 9, 5, severity, 0.1, 0.1, "m", "a source", "slides", None, ()
    )
    reached = fail_on != "never" and severity.rank >= Severity(fail_on).rank
    assert exit_code(Result((note,), (), ()), fail_on) == int(reached)
    for silent in (replace(note, trial=True), replace(note, set_aside="the lead asked for it")):
        assert exit_code(Result((silent,), (), ()), fail_on) == 0
        assert exit_code(Result((silent, note), (), ()), fail_on) == int(reached)
        assert exit_code(Result((silent,), (), (Failure("slip", "Keeper", "ValueError: no"),)), fail_on) == 3


def test_nothing_found_is_zero(tmp_path, capfd):
    keeper(knee=40.0)
    run = plumbline_here(capfd, "check", saved(tmp_path / "calm.blend"),
                         "--checks", "joint-limit", "--json", tmp_path / "n.json")
    assert run.returncode == 0, run.stderr
    assert json.loads((tmp_path / "n.json").read_text())["notes"] == []


def test_a_range_is_kept(shot, tmp_path, capfd):
    run = plumbline_here(capfd, "check", shot, "--checks", "joint-limit",
                         "--range", "36-48", "--json", tmp_path / "n.json")
    assert run.returncode == 0, run.stderr
    data = json.loads((tmp_path / "n.json").read_text())
    assert (data["shot"]["first"], data["shot"]["last"], data["notes"]) == (36, 48, [])


def test_a_card_sets_a_limit(shot, tmp_path, capfd):
    card = tmp_path / "card.json"
    card.write_text(json.dumps({"map": {"shin.L": "", "shin.R": ""}}))
    run = plumbline_here(capfd, "check", shot, "--checks", "joint-limit",
                         "--card", f"Keeper={card}", "--json", tmp_path / "n.json")
    assert run.returncode == 0, run.stderr
    data = json.loads((tmp_path / "n.json").read_text())
    assert "shin.L" not in data["characters"][0]["map"]
    assert any(s["check"] == "joint-limit" for s in data["skipped"])


def test_a_cards_preset_moves_a_limit_and_the_note_says_so(tmp_path, capfd):
    """A second in the air at half of gravity: high as it is, medium to the bouncy preset."""
    rig = keeper(knee=20.0)
    rig.location.z = 0.0
    for frame in (1, *range(12, 37), 48):
        t = (min(max(frame, 12), 36) - 12) / 24
        rig.location.z = 9.81 / 4 * t * (1 - t)
        rig.keyframe_insert("location", index=2, frame=frame)
    card = tmp_path / "card.json"
    card.write_text(json.dumps({"preset": "bouncy"}))
    run = plumbline_here(capfd, "check", saved(tmp_path / "hop.blend"), "--checks", "airborne", "--card", card,
                    "--json", tmp_path / "n.json")
    assert run.returncode == 0, run.stderr
    (note,) = json.loads((tmp_path / "n.json").read_text())["notes"]
    assert note["severity"] == "medium" and note["measured"] == pytest.approx(0.5, abs=0.03)
    assert "the limit of 0.54 g is that of the preset bouncy, 0.78 g without it" in note["text"]
    assert note["limit"] == pytest.approx(0.78**2.5)


def test_hostile_names_reach_the_file_and_never_the_terminal(tmp_path):
    keeper(name=HOSTILE)
    run = plumbline(
        "check", saved(tmp_path / "tow\x1ber \n.blend"), "--checks", "joint-limit", "--json", tmp_path / "n.json"
    )
    assert run.returncode == 1, run.stderr
    data = json.loads((tmp_path / "n.json").read_text("utf-8"))
    assert data["notes"][0]["character"] == data["characters"][0]["name"] == HOSTILE
    own = [line for line in (run.stdout + run.stderr).splitlines() if not line.startswith(("Read blend", ".blend"))]
    assert "\x1b" not in "".join(line for line in own if "Kee" in line)
    assert "\u202e" not in run.stdout
    assert r"Kee\x1b[2Jper" in run.stdout


def test_several_scenes_the_files_active_one_is_taken_and_said(tmp_path):
    keeper()
    other = bpy.data.scenes.new("Tower at Night")
    path = saved(tmp_path / "two.blend")
    run = plumbline("check", path, "--checks", "joint-limit")
    assert run.returncode == 1
    assert 'several scenes: "Scene" is checked, not "Tower at Night"' in run.stderr
    assert other.name in run.stderr
    run = plumbline("check", path, "--scene", "Tower at Night")
    assert run.returncode == 2
    assert "no armature" in one_line(run.stderr)


def test_scripts_in_the_file_stay_off(tmp_path):
    keeper()
    text = bpy.data.texts.new("run_me.py")
    text.use_module = True
    text.write(f"open({str(tmp_path / 'ran')!r}, 'w').close()")
    path = saved(tmp_path / "script.blend")
    assert plumbline("check", path, "--checks", "joint-limit").returncode == 1
    assert not (tmp_path / "ran").exists()


def test_a_library_that_is_missing_is_told_and_the_rest_measured(tmp_path, capfd):
    keeper()
    library = tmp_path / "library.blend"
    cube = bpy.data.objects.new("Cube", bpy.data.meshes.new("Cube"))
    bpy.data.libraries.write(str(library), {cube})
    with bpy.data.libraries.load(str(library), link=True) as (_, into):
        into.objects = ["Cube"]
    bpy.context.scene.collection.objects.link(into.objects[0])
    path = saved(tmp_path / "linked.blend")
    library.unlink()
    run = plumbline_here(capfd, "check", path, "--checks", "joint-limit", "--json", tmp_path / "n.json")
    assert run.returncode == 1, run.stderr
    data = json.loads((tmp_path / "n.json").read_text())
    assert len(data["notes"]) == 1
    assert any("library.blend" in s["why"] for s in data["skipped"])


def overridden(library, how):
    """A scene with the figure of a library that is gone: its bones the shot's own, by override, or the library's."""
    keeper()
    boot = bpy.data.meshes.new("Boot")
    boot.from_pydata([(0.1, 0, 0), (0.1, -0.2, 0), (0.2, 0, 0)], [], [(0, 1, 2)])
    skin = bpy.data.objects.new("Boot", boot)
    skin.modifiers.new("Armature", "ARMATURE").object = bpy.data.objects["Keeper"]
    bpy.data.libraries.write(str(library), {bpy.data.objects["Keeper"], skin}, fake_user=True)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(library), link=True) as (_, into):
        into.objects = ["Keeper", "Boot"]
    for object in into.objects:
        bpy.context.scene.collection.objects.link(object)
    bpy.context.scene.frame_start, bpy.context.scene.frame_end = 1, 48
    if how != "linked":
        rig = into.objects[0].override_create(remap_local_usages=True)
        into.objects[1].override_create(remap_local_usages=True)
        shin = rig.pose.bones["shin.L"]
        axis = shin.bone.matrix_local.to_3x3().inverted() @ Vector((1.0, 0.0, 0.0))
        rig.animation_data.action = None
        if how == "bones too":
            rig.data.override_create(remap_local_usages=True)
            shin = rig.pose.bones["shin.L"]
        for frame, degrees in ((1, 5.0), (18, 5.0), (24, -60.0), (28, -60.0), (34, 5.0)):
            shin.rotation_axis_angle = (math.radians(degrees), *axis)
            shin.keyframe_insert("rotation_axis_angle", frame=frame)


def test_an_override_whose_library_is_missing_is_measured_by_its_bones(tmp_path, capfd):
    overridden(tmp_path / "library.blend", "bones too")
    path = saved(tmp_path / "tower.blend", relative_remap=True)
    (tmp_path / "library.blend").unlink()
    run = plumbline_here(capfd, "check", path, "--json", tmp_path / "n.json")
    assert run.returncode == 1, run.stderr
    data = json.loads((tmp_path / "n.json").read_text())
    jsonschema.Draft202012Validator(schema()).validate(data)
    assert data["failed"] == []
    assert {"character": "Keeper", "part": "foot.R", "on": None, "off": None, "kind": "full"} in data["contacts"]
    assert [(n["part"], n["severity"]) for n in data["notes"] if n["check"] == "joint-limit"] == [("shin.L", "high")]
    assert any("library.blend is missing" in s["why"] and "no vertices" in s["why"] for s in data["skipped"])


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("bones not", "its bones lie in the linked file //library.blend, which is missing"),
        ("linked", "no armature, so there is no character to measure; the linked file //library.blend is missing"),
    ],
)
def test_a_figure_that_went_with_its_library(tmp_path, how, says, capfd):
    overridden(tmp_path / "library.blend", how)
    path = saved(tmp_path / "tower.blend", relative_remap=True)
    (tmp_path / "library.blend").unlink()
    run = plumbline_here(capfd, "check", path, "--json", tmp_path / "n.json")
    assert run.returncode == 2, run.stderr
    assert says in one_line(run.stderr)
    assert not (tmp_path / "n.json").exists()


def test_a_file_at_which_opening_raises_although_it_opened_is_measured(shot, tmp_path, monkeypatch, capfd):
    child_running(
        monkeypatch,
        REAL.format(
            "import bpy\n"
            "class Raising:\n"
            "    def __getattr__(self, name): return getattr(bpy.ops.wm, name)\n"
            "    def open_mainfile(self, **words):\n"
            "        bpy.ops.wm.open_mainfile(**words)\n"
            "        raise RuntimeError('Error: Cannot find lib //lamp.blend\\n')\n"
            "class Ops: wm = Raising()\n"
            "class Bpy:\n"
            "    ops = Ops()\n"
            "    def __getattr__(self, name): return getattr(bpy, name)\n"
            "real = review.open_shot\n"
            "def opened(path):\n"
            "    sys.modules['bpy'] = Bpy()\n"
            "    try: return real(path)\n"
            "    finally: sys.modules['bpy'] = bpy\n"
            "review.open_shot = opened"
        ),
    )
    assert cli.main(["check", str(shot), "--checks", "joint-limit", "--json", str(tmp_path / "n.json")]) == 1
    assert "Blender says: Cannot find lib //lamp.blend" in capfd.readouterr().err


def test_the_words_that_need_no_blender_load_none(tmp_path):
    (tmp_path / "bpy.py").write_text("raise SystemError('Blender was loaded')")
    env = {"PYTHONPATH": str(tmp_path)}
    for words, code in (
        (["--version"], 0),
        (["--help"], 0),
        (["check", "--help"], 0),
        (["explain", "slip"], 0),
        (["explain", "slop"], 2),
        ([], 2),
        (["check"], 2),
        (["dance"], 2),
        (["check", "none.blend"], 2),
    ):
        run = plumbline(*words, env=env)
        assert run.returncode == code, (words, run.stderr)
        assert "Blender was loaded" not in run.stderr
    assert plumbline("--version", env=env).stdout.startswith("plumbline ")


def test_no_blender_at_all_is_our_failure(shot, tmp_path):
    (tmp_path / "bpy.py").write_text("raise ImportError('libXrender.so.1: cannot open shared object file', name='bpy')")
    run = plumbline("check", shot, env={"PYTHONPATH": str(tmp_path)})
    assert run.returncode == 3
    assert "Blender cannot be loaded here: libXrender.so.1" in one_line(run.stderr)


@pytest.mark.parametrize("name", sorted(catalogue()))
def test_explain_prints_the_checks_page(capfd, name):
    run = plumbline_here(capfd, "explain", name)
    assert run.returncode == 0
    for heading in ("Seen as:", "Measures:", "Limit:", "Silent when:", "Cannot see:", "Remedy:", "Steps: low "):
        assert f"\n{heading}" in run.stdout


def test_the_same_in_blenders_own_process(shot, tmp_path, capfd):
    notes = tmp_path / "n.json"
    assert cli.command(["check", str(shot), "--checks", "joint-limit", "--json", str(notes)]) == 1
    assert len(json.loads(notes.read_text())["notes"]) == 1
    assert cli.command(["check", str(shot), "--checks", "slop", "--json", str(notes)]) == 2
    assert cli.command(["check", str(tmp_path / "none.blend")]) == 2
    assert cli.command(["explain", "slip"]) == 0
    assert cli.command([]) == 2
    assert cli.command(["--version"]) == 0
    assert sorted(os.listdir(tmp_path)) == ["tower.blend"], "the unknown check's run took the older notes away"
    assert "blender --command plumbline" in capfd.readouterr().err


def test_nothing_is_written_to_the_shot(shot):
    before = shot.read_bytes(), Path(shot).stat().st_mtime_ns
    plumbline("check", shot)
    assert (shot.read_bytes(), shot.stat().st_mtime_ns) == before
