# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender's own check of messages finds nothing in ours, and does find what is planted."""
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

SCRIPT = Path(__file__).parent / "message_check.py"
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


def warnings_of(extension: Path, folder: Path) -> list[str]:
    folder.mkdir()
    done = subprocess.run([sys.executable, SCRIPT, extension], cwd=folder, capture_output=True, text=True, timeout=120,
                          env={**os.environ, "BLENDER_USER_RESOURCES": str(folder / "user")})
    assert "RESULT" in done.stdout, done.stdout[-2000:] + done.stderr[-2000:]
    return json.loads(done.stdout.rpartition("RESULT")[2].splitlines()[0])


def test_no_message_breaks_blenders_rules(extension_zip: Path, tmp_path: Path) -> None:
    assert warnings_of(extension_zip, tmp_path / "work") == []


def test_the_check_bites(extension_zip: Path, tmp_path: Path) -> None:
    planted = tmp_path / "planted.zip"
    with zipfile.ZipFile(extension_zip) as source, zipfile.ZipFile(planted, "w") as target:
        for name in source.namelist():
            target.writestr(name, source.read(name) + (
                PLANTED.encode() if name == "__init__.py" else b""))
    text = "\n".join(warnings_of(planted, tmp_path / "work"))
    assert "message not capitalized" in text and "message with endpoint" in text
