# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs every script of this folder that asks an outside reference and keeps its answers; words: only those named so."""

import runpy
import sys
from pathlib import Path

HERE = Path(__file__).parent

if __name__ == "__main__":
    for script in sorted(HERE.glob("*.py")):
        asks = script.name != Path(__file__).name and not script.name.startswith("test_")
        if asks and (len(sys.argv) == 1 or script.stem in sys.argv[1:]):
            runpy.run_path(str(script), run_name="__main__")
