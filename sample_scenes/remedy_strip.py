# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes docs/pictures/strip-remedies.png: the faulty take before and after its remedies, as a strip of frames.

    python sample_scenes/remedy_strip.py

Each note of spacing and arcs is mended by its own operator, as the button does it, and the shot is checked again. A
column is a note: the still of its worst frame around the part, with the part's path a third of a second before and
after, a tick a frame; above as it was, below as it is then.
"""

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from plumbline.blender_addon import registration, session, settings, stills
from plumbline.blender_addon.panels.sidebar import mend_of
from plumbline.core.body import spoken
from plumbline.core.marks import Mark, rectangle
from plumbline.core.measures.kisses import view_of
from plumbline.core.measures.paths import where
from plumbline.core.measures.ticks import PATHS
from plumbline.core.note import Note
from plumbline.core.palette import KEY, PAPER
from plumbline.core.report.picture import draw, frame_of
from plumbline.core.report.raster import png
from plumbline.core.report.stroke_font import strokes
from plumbline.core.shot import Shot
from plumbline.sample_scenes import keeper_faults

Array = np.ndarray
PICTURE = Path(__file__).parents[1] / "docs" / "pictures" / "strip-remedies.png"
#: Checks in the strip, one a column, and the part whose path shows the fault.
SHOWN = {"frozen-part": "hand.R", "arc-break": "hand.L", "jitter": "hand.R", "pop": "hand.R",
         "stuck-in-space": "head", "uneven-spacing": "hand.R", "dead-stop": "head"}
#: Pixels of a still's longer side, of a tile cut from it, and between tiles; frames of path to each side.
STILL, TILE, GAP, AROUND = 1900, 154, 3, 8
#: Shades of each color that the picture keeps, for its size.
SHADES = 40
FOUND, LANDED = (0.95, 0.45, 0.20), (0.25, 0.80, 0.55)
LARGEST = 150_000


def main() -> int:
    stills.check_drawing()
    bpy.ops.wm.read_factory_settings(use_empty=True)
    keeper_faults.build()
    registration.register()
    check()
    scene = bpy.context.scene
    before, notes = shot(), [n for n in _notes() if n.check in SHOWN]
    notes.sort(key=lambda n: n.worst)
    above = list(tiles(scene, before, notes, FOUND))
    check()                                                     # after a render the scene counts as edited
    told = [mended(note) for note in notes]
    below = list(tiles(scene, shot(), notes, LANDED))
    left = {(n.check, n.part) for n in _notes()} & {(n.check, n.part) for n in notes}
    for note, done in zip(notes, told, strict=True):
        print(f"frame {note.worst}: {note.check} of the {spoken(note.part)}: "
              f"{'left' if (note.check, note.part) in left else 'gone'}{'' if done else ', no operator ran'}")
    PICTURE.write_bytes(png(strip([above, below])))
    registration.unregister()
    size = PICTURE.stat().st_size
    print(f"wrote {PICTURE.relative_to(Path(__file__).parents[1])}, {size // 1000} KB")
    return int(bool(left) or not all(told) or size > LARGEST)


def check() -> None:
    operators: Any = bpy.ops
    operators.plumbline.check_shot()


def shot() -> Shot:
    checked = session.of(bpy.context.scene)
    assert checked is not None and checked.shot is not None
    return checked.shot


def _notes() -> tuple[Note, ...]:
    checked = session.of(bpy.context.scene)
    assert checked is not None and checked.result is not None, checked and checked.why
    return checked.notes


def mended(note: Note) -> bool:
    """Whether the note's own operator ran; the shot is checked again then."""
    number = next((k for k, n in enumerate(_notes()) if (n.check, n.part) == (note.check, note.part)), None)
    if number is None:
        return True                                             # another remedy has mended it as well
    settings.show_row(number, bpy.context.scene)
    mend: Any = getattr(bpy.ops.plumbline, mend_of(_notes()[number]).rpartition(".")[2])
    return bool(mend.poll()) and mend() == {"FINISHED"}


def tiles(scene: Any, seen: Shot, notes: list[Note], color: tuple[float, float, float]) -> Iterator[Array]:
    """A tile (TILE, TILE, 3) of each note, cut from the shot's own still where the part stands in it."""
    for note in notes:
        i = int(np.argmin(np.abs(seen.frames - note.worst)))
        assert seen.camera is not None
        view = view_of(seen.camera, i)
        assert view is not None
        size = (STILL, round(STILL * view.size[1] / view.size[0]))
        frame = frame_of(view, note.worst, size)
        path = where(seen.characters[0], PATHS[SHOWN[note.check]])[max(0, i - AROUND) : i + AROUND + 1]
        line = frame.pixels(list(path))
        pixels = stills.still(scene, note.worst, size, None, seen.unit_scale)
        draw(pixels, path_marks(line, min(AROUND, i), color))
        near = line[max(0, min(AROUND, i) - 3) : min(AROUND, i) + 4, :2].mean(0)
        corner = np.clip(near - TILE / 2, 0, np.array(size) - TILE).astype(int)
        tile = np.ascontiguousarray(pixels[corner[1] : corner[1] + TILE, corner[0] : corner[0] + TILE])
        draw(tile, title(note.check if color == FOUND else f"frame {note.worst}, after"))
        yield tile


def path_marks(line: Array, at: int, color: tuple[float, float, float]) -> list[Mark]:
    """The path with a tick a frame, the note's own frame as a square."""
    marks = [Mark((line,), 4, KEY, 0.5), Mark((line,), 2, color)]
    for k, place in enumerate(line):
        half = 4.5 if k == at else 2.2
        marks.append(Mark((rectangle(place[:2] - half, 2 * half, 2 * half),), 0, PAPER if k == at else color))
    return marks


def title(text: str) -> list[Mark]:
    lines, _ = strokes(text, 7.0)
    flat = tuple(np.column_stack([line + (6, 6), np.zeros(len(line))]) for line in lines)
    return [Mark((rectangle(np.zeros(2), TILE, 20),), 0, KEY, 0.75), Mark(flat, 1.3, PAPER)]


def strip(rows: list[list[Array]]) -> Array:
    """Tiles in rows on a plain ground, (H, W, 3)."""
    wide = len(rows[0]) * (TILE + GAP) + GAP
    out = np.full((len(rows) * (TILE + GAP) + GAP, wide, 3), KEY, float)
    for r, row in enumerate(rows):
        for c, tile in enumerate(row):
            y, x = GAP + r * (TILE + GAP), GAP + c * (TILE + GAP)
            out[y : y + TILE, x : x + TILE] = tile
    return np.round(out * SHADES) / SHADES


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
