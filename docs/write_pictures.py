# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes docs/pictures: one picture of a note of each check, as the demo draws them on the keeper's faulty take."""

import os
import sys
import tempfile
from pathlib import Path

from plumbline.blender_addon.options import Job
from plumbline.blender_addon.review import review
from plumbline.core.report.progress import Progress
from plumbline.sample_scenes import demo, keeper_faults

FOLDER = Path(__file__).parent / "pictures"
#: Pixels of a picture's longer side, which pages show no wider, and bytes that none may pass.
LONG_SIDE, LARGEST = 1120, 150_000


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        path = demo.save("keeper_faulty", keeper_faults.build, Path(folder))
        outcome = review(Job(path), Progress(sys.stderr, path.name, sys.stderr.isatty()))
        for made in demo.pictures(Path(folder), outcome, LONG_SIDE):
            check = made.stem.split("_")[1]
            size = made.stat().st_size
            assert size <= LARGEST, f"{made.name} has {size // 1000} KB"
            made.replace(FOLDER / f"{check}.png")
            print(f"wrote docs/pictures/{check}.png", flush=True)


if __name__ == "__main__":
    main()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
