# SPDX-License-Identifier: GPL-3.0-or-later
"""Our own failures at the command line: exit code 3, Blender's crash named, no finished notes file by mistake."""

import contextlib
import json
import os
import signal
import subprocess
import sys
import time

import jsonschema
import pytest
from plumbline.blender_addon import cli
from plumbline.core.report.json_notes import schema

from .tower import REAL, child_running


@pytest.mark.parametrize(
    ("code", "named"),
    [
        ("os.abort()", "SIGABRT"),
        ("os.kill(os.getpid(), 11)", "SIGSEGV"),
        ("open(PART, 'w').write('{ \"schema\": 1, \"complete\": true'); os.kill(os.getpid(), 9)", "SIGKILL"),
        ("sys.exit(1)", "exit code 1"),
        ("sys.exit(0)", "exit code 0"),
        ("raise ImportError('no such thing')", "exit code 1"),
        (REAL.format("review.run = lambda *a: os.abort()"), "SIGABRT"),
        (REAL.format("review.dump = lambda data: os.kill(os.getpid(), 11)"), "SIGSEGV"),
    ],
    ids=[
        "abort",
        "segfault",
        "killed in mid-write",
        "Python's 1",
        "Python's 0",
        "import",
        "abort in Blender",
        "segfault at writing",
    ],
)
@pytest.mark.skipif(os.name == "nt", reason="signals are POSIX")
def test_a_crash_is_survived_and_named(shot, tmp_path, monkeypatch, capfd, code, named):
    child_running(monkeypatch, code)
    assert cli.main(["check", str(shot), "--checks", "joint-limit", "--json", str(tmp_path / "n.json")]) == 3
    said = [line for line in capfd.readouterr().err.splitlines() if line.startswith("plumbline: ")]
    assert said == [f"plumbline: Blender crashed ({named}) on {shot}; no notes file is left"]
    assert os.listdir(tmp_path) == ["tower.blend"]


def test_a_failing_check_is_three_but_its_notes_stay(shot, tmp_path, monkeypatch, capfd):
    child_running(
        monkeypatch,
        REAL.format(
            "from plumbline.core.catalogue import catalogue\n"
            "def fails(self, study, character): raise ValueError('the lamp went out')\n"
            "type(catalogue()['slip']).run = fails"
        ),
    )
    assert cli.main(["check", str(shot), "--checks", "joint-limit,slip", "--json", str(tmp_path / "n.json")]) == 3
    data = json.loads((tmp_path / "n.json").read_text())
    jsonschema.Draft202012Validator(schema()).validate(data)
    assert data["failed"] == [{"check": "slip", "character": "Keeper", "error": "ValueError: the lamp went out"}]
    assert [n["check"] for n in data["notes"]] == ["joint-limit"]
    assert data["complete"] is True
    assert "plumbline: the check slip failed on Keeper: ValueError: the lamp went out" in capfd.readouterr().err


def test_anything_uncaught_is_three_and_leaves_no_notes(shot, tmp_path, monkeypatch, capfd):
    child_running(
        monkeypatch, REAL.format("def fails(*a, **more): raise ZeroDivisionError('x')\nreview.notes_data = fails")
    )
    assert cli.main(["check", str(shot), "--checks", "joint-limit", "--json", str(tmp_path / "n.json")]) == 3
    error = capfd.readouterr().err
    assert "Traceback" in error
    assert error.splitlines()[-1] == "plumbline: Plumbline failed: ZeroDivisionError: x"
    assert os.listdir(tmp_path) == ["tower.blend"]


@pytest.mark.skipif(os.name == "nt", reason="signals are POSIX")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_being_killed_in_mid_write_leaves_no_finished_file(shot, tmp_path, number):
    code = (
        "import sys; from plumbline.blender_addon import cli\n"
        "cli.child_command = lambda part, words: [sys.executable, '-c', 'import time; f = open(%r, \"w\"); "
        "f.write(\\'{ \"schema\": 1\\'); f.flush(); time.sleep(60)' % str(part)]\n"
        "sys.exit(cli.main(sys.argv[1:]))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, "check", str(shot), "--json", str(tmp_path / "n.json")],
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # a shell's `&` hands down an ignored one
    )
    end = time.monotonic() + 60
    while not list(tmp_path.glob(".n.json.*.part")):
        assert time.monotonic() < end
        time.sleep(0.05)
    process.send_signal(number)
    process.wait(30)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)  # the child of one that was killed outright
    assert not (tmp_path / "n.json").exists()
    if number != signal.SIGKILL:
        assert process.returncode == 3
        assert "stopped; no notes file is left" in process.stderr.read()
        assert os.listdir(tmp_path) == ["tower.blend"]
    process.stderr.close()
