# SPDX-License-Identifier: GPL-3.0-or-later
"""Installs an extension and prints, after RESULT, what Blender's own check of messages says about it, and the words
that translators would get, as JSON.

Run in a process of its own: the check registers and unregisters half of Blender. Its settings want a folder
``blender/scripts/presets`` in the working folder, which is made here as a link.
"""
import importlib
import io
import json
import os
import sys
from contextlib import redirect_stderr
from pathlib import Path

import bpy

# the module got an underscore in 5.x
module = "bl_i18n_utils" if bpy.app.version < (5, 0, 0) else "_bl_i18n_utils"
extract = importlib.import_module(f"{module}.bl_extract_messages")
settings = importlib.import_module(f"{module}.settings").I18nSettings()

presets = Path("blender/scripts/presets")
presets.parent.mkdir(parents=True)
presets.symlink_to(Path(bpy.utils.resource_path("LOCAL")) / "scripts" / "presets", True)

bpy.ops.extensions.package_install_files(filepath=sys.argv[1], repo="user_default", enable_on_install=True)
said = io.StringIO()
with redirect_stderr(said):
    found = extract.dump_addon_messages("bl_ext.user_default.plumbline", True, settings)
assert "RNA structs were processed" in said.getvalue(), said.getvalue()
warnings = said.getvalue().partition("WARNINGS:")[2].strip().splitlines()
print("RESULT" + json.dumps({"warnings": warnings, "words": sorted({key[1] for key in found.msgs})}), flush=True)
os._exit(0)
