# SPDX-License-Identifier: GPL-3.0-or-later
"""The demo: builds the keeper's two takes, checks them, prints the notes, and writes the notes files, a .blend with the
notes as timeline markers, and pictures of the worst notes.

    python sample_scenes/demo.py [FOLDER]        (build.py demo; default folder: out/demo)
"""

import os
import sys
from pathlib import Path

import bpy
from plumbline.blender_addon import markers, stills
from plumbline.blender_addon.options import Job
from plumbline.blender_addon.review import Outcome, review, write_notes
from plumbline.core.report.notes_file import finish
from plumbline.core.report.progress import Progress
from plumbline.core.report.text import lines, style_here
from plumbline.sample_scenes import keeper_faults, keeper_shot

TAKES = {"keeper_clean": keeper_shot.build, "keeper_faulty": keeper_faults.build}


def main(words: list[str]) -> int:
    folder = Path(words[0] if words else "out/demo")
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for name, build in TAKES.items():
        path = save(name, build, folder)
        outcome = review(Job(path), Progress(sys.stderr, path.name, sys.stderr.isatty()))
        print("\n".join(lines(outcome.shot, outcome.result, style_here(sys.stdout.isatty()))), flush=True)
        notes = folder / f"{name}.notes.json"
        part = notes.with_suffix(".part")
        write_notes(outcome, part)
        finish(part, notes)
        written += [path, notes]
        if outcome.result.notes:
            written += mark(path, outcome) + pictures(folder, outcome)
    print("Written:\n" + "\n".join(f"  {path}" for path in written), flush=True)
    return 0


def save(name: str, build, folder: Path) -> Path:
    """Builds one take in an empty file and saves it."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    build()
    path = folder / f"{name}.blend"
    bpy.context.preferences.filepaths.save_version = 0
    bpy.ops.wm.save_as_mainfile(filepath=str(path.resolve()), check_existing=False)
    return path


def mark(path: Path, outcome: Outcome) -> list[Path]:
    """A copy of the file with the notes as timeline markers."""
    marked = path.with_name(f"{path.stem}_marked.blend")
    markers.add(bpy.context.scene, outcome.result.notes)
    bpy.ops.wm.save_as_mainfile(filepath=str(marked.resolve()), copy=True, check_existing=False)
    markers.remove(bpy.context.scene)
    return [marked]


def pictures(folder: Path, outcome: Outcome, long_side: int = stills.LONG_SIDE) -> list[Path]:
    """A picture of each note at its worst frame; says so where none can be drawn."""
    made = []
    progress = Progress(sys.stderr, "pictures", sys.stderr.isatty())
    try:
        for k, note in enumerate(outcome.result.notes):
            progress.part("drawing", k / len(outcome.result.notes))
            path = folder / f"{note.worst:04d}_{note.check}_{note.part.replace('.', '_')}.png"
            stills.picture(bpy.context.scene, outcome.shot, note, path, long_side=long_side)
            made.append(path)
    except stills.NoPictures as reason:
        print(reason, file=sys.stderr)
    progress.clear()
    return made


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
