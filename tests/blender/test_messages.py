# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender's own check of messages finds nothing in ours, and does find what is planted."""
import json
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parent / "message_check.py"
#: Of each kind of words one: label, report, gray button, tooltip made while shown, progress, property, menu of choices.
WORDS = {
    "Check Again", "Check Shot", "Check stopped; the scene is as it was", "{:d} of {:d} keys are still there",
    "A check is running; Esc stops it", "Choose a note on an even move", "There are no notes",
    "{:s}: show or hide the notes of this lane", "Looking for Characters", "Reading Frame {:d} of {:d}",
    "Edited in frames {:s}", "{:d} to {:d}", "Studio Cards", "Left thigh", "1 key", "{:d} keys", "No notes",
}
PLANTED = '''
import bpy


class PLUMBLINE_OT_planted(bpy.types.Operator):
    """planted without a capital."""
    bl_idname = "plumbline.planted"
    bl_label = "planted label."


def register(honest=register):
    honest()
    bpy.utils.register_class(PLUMBLINE_OT_planted)


def unregister(honest=unregister):
    bpy.utils.unregister_class(PLUMBLINE_OT_planted)
    honest()
'''


@pytest.fixture(scope="module")
def said(extension_zip: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """What Blender's check says of our extension with one faulty operator planted in it."""
    folder = tmp_path_factory.mktemp("messages")
    planted = folder / "planted.zip"
    with zipfile.ZipFile(extension_zip) as source, zipfile.ZipFile(planted, "w") as target:
        for name in source.namelist():
            target.writestr(name, source.read(name) + (
                PLANTED.encode() if name == "__init__.py" else b""))
    done = subprocess.run([sys.executable, SCRIPT, planted], cwd=folder, capture_output=True, text=True, timeout=120,
                          env={**os.environ, "BLENDER_USER_RESOURCES": str(folder / "user")})
    assert "RESULT" in done.stdout, done.stdout[-2000:] + done.stderr[-2000:]
    return json.loads(done.stdout.rpartition("RESULT")[2].splitlines()[0])


def test_no_message_breaks_blenders_rules(said: dict[str, list[str]]) -> None:
    # a message that breaks a rule stands at the left, with what is wrong in it indented below
    assert [line for line in said["warnings"] if not line.startswith("\t") and "planted" not in line] == []
    words = set(said["words"])
    assert WORDS - words == set(), "words that people read and nobody could translate"
    assert not {word for word in words if re.search(r"[a-z]\{|\}[A-Za-z]", word)}, "words run together by the extractor"


def test_the_check_bites(said: dict[str, list[str]]) -> None:
    text = "\n".join(said["warnings"])
    assert "message not capitalized" in text and "message with endpoint" in text
