# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs every script of this folder that asks an outside reference and keeps its answers."""

import runpy
from pathlib import Path

HERE = Path(__file__).parent

if __name__ == "__main__":
    for script in sorted(HERE.glob("*.py")):
        if script.name != Path(__file__).name and not script.name.startswith("test_"):
            runpy.run_path(str(script), run_name="__main__")
