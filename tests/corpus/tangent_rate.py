# SPDX-License-Identifier: GPL-3.0-or-later
"""How often tangent speaks on motion and meshes in which nothing is planted, and whether it is right.

    python -m tests.corpus.tangent_rate [--more DIR] [--pictures DIR] [--only TEXT ...] [--unseen]

Every take of ``staged`` is seen from its angles, and with what ``unseen`` adds by seed. A note of medium severity or
above was looked at in a picture (--pictures draws those that nobody has judged) and stands in tangents_seen.json with
what it shows; one that does not is printed and counted as not judged. ``build.py corpus`` runs it too, and writes
docs/corpus_tangent.md.
"""

import argparse
import json
import os
import re
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from plumbline.blender_addon.sampling.sweep import CannotMeasure, Request, sweep_now
from plumbline.blender_addon.stills import still
from plumbline.core.catalogue import catalogue
from plumbline.core.evidence import Point
from plumbline.core.measures.kisses import view_of
from plumbline.core.note import Note
from plumbline.core.report.picture import Frame, marks
from plumbline.core.report.picture import draw as draw_marks
from plumbline.core.report.raster import png
from plumbline.core.runner import finish
from plumbline.core.shot import Shot

from . import unseen
from .staged import Stage

SEEN = Path(__file__).with_name("tangents_seen.json")


@dataclass(frozen=True)
class Viewed:
    """One take from one angle. part: of ``unseen.PARTS``."""

    part: str
    kind: str
    clip: str
    angle: str
    seconds: float
    notes: tuple[Note, ...]

    @property
    def loud(self) -> list[Note]:
        return [n for n in self.notes if n.severity.rank >= 1]


def views(
    more: Path | None, only: Sequence[str] = (), pictures: Path | None = None, by_seed: bool = False
) -> Iterator[Viewed | str]:
    """Every take from each of its angles; a sentence for a take that cannot be measured."""
    check = catalogue()["tangent"]
    for plan in unseen.plans(more):
        take = plan.take
        if (by_seed and plan.seed is None) or (only and not any(text in take.clip for text in only)):
            continue
        try:
            stage = Stage(take, plan.seed)
        except (CannotMeasure, RuntimeError) as why:
            yield f"{take.clip}: {str(why).splitlines()[0]}"
            continue
        for angle in plan.angles:
            stage.shoot(angle)
            shot = sweep_now(stage.scene, Request(check.needs()))
            result = finish(shot, [check])
            if result.failed:
                raise RuntimeError(result.failed[0].trace)
            viewed = Viewed(plan.part, take.kind, take.clip, angle.name, stage.seconds, tuple(result.notes))
            for n, note in enumerate(viewed.loud):
                if pictures is None or verdict(viewed, note):
                    continue
                name = re.sub(r"[^\w]+", "_", f"{take.clip} {angle.name} {n} {note.severity}")
                draw(stage.scene, shot, note, pictures / f"{name}.png")
            yield viewed


# ---- pictures --------------------------------------------------------------------------------------------------------


def draw(scene: Any, shot: Shot, note: Note, path: Path) -> None:
    """A PNG of the note's worst frame: the picture with the note drawn over, and beside it what is near the kiss, bare
    and six times as large, from the same eye."""
    own = shot.camera
    assert own is not None
    i = int(np.argmin(np.abs(shot.frames - note.worst)))
    seen = view_of(own, i)
    assert seen is not None
    place = next(np.array(shape.places[0]) for shape in note.evidence if isinstance(shape, Point))
    back = seen.origin - place
    right = np.cross(seen.camera_from_world[1], back)
    axes = np.stack([right, np.cross(back, right), back])
    turned = np.eye(4)
    turned[:3, :3], turned[:3, 3] = (axes / np.linalg.norm(axes, axis=1, keepdims=True)).T, seen.origin
    square = np.array([1080.0, 1080.0])
    near = replace(
        own, names=("near",), run=np.zeros(1, int), kind=("PERSP",), fit=("HORIZONTAL",),
        world_from_camera=turned[None], lens_mm=6.0 * own.lens_mm[i : i + 1], ortho_scale=own.ortho_scale[i : i + 1],
        sensor_mm=own.sensor_mm[i : i + 1] * 1080.0 / 1920.0, shift=np.zeros((1, 2)), resolution=square,
    )  # fmt: skip
    whole = still(scene, note.worst, (1280, 720), None, shot.unit_scale)
    draw_marks(whole, marks(note, Frame(seen, note.worst, (1280, 720))))
    path.write_bytes(png(np.concatenate([whole, still(scene, note.worst, (720, 720), near, shot.unit_scale)], axis=1)))


# ---- verdicts --------------------------------------------------------------------------------------------------------


@cache
def seen() -> tuple[dict[str, Any], ...]:
    """What was looked at: clip, angle, parts, frames, verdict ('true' or 'false') and what the picture shows."""
    return tuple(json.loads(SEEN.read_text("utf-8"))["seen"]) if SEEN.is_file() else ()


def verdict(view: Viewed, note: Note) -> str:
    """'true', 'false', or '' where nobody has looked; a row that tells frames speaks only of notes that share one."""
    at = (view.clip, view.angle, ", ".join(note.parts))
    for row in seen():
        first, last = row.get("frames", (note.start, note.end))
        if (row["clip"], row["angle"], row["parts"]) == at and first <= note.end and note.start <= last:
            return str(row["verdict"])
    return ""


# ---- the table -------------------------------------------------------------------------------------------------------


def table(found: Iterable[Viewed]) -> str:
    """Notes a camera-minute by part and kind of motion, then by angle of the views that are not by seed."""
    found = list(found)
    parts: dict[tuple[str, ...], list[Viewed]] = defaultdict(list)
    angles: dict[tuple[str, ...], list[Viewed]] = defaultdict(list)
    for view in found:
        parts[view.part, view.kind].append(view)
        parts[view.part, "all"].append(view)
        if not view.angle.startswith("seed"):
            angles[view.kind, view.angle].append(view)
    rows = [(key, parts[key]) for key in sorted(parts, key=lambda k: (unseen.PARTS.index(k[0]), k[1]))]
    return "\n\n".join(
        (_rates(("part", "motion"), rows), _rates(("motion", "angle"), sorted(angles.items(), key=lambda row: row[0])))
    )


def _rates(heads: tuple[str, ...], rows: Sequence[tuple[tuple[str, ...], list[Viewed]]]) -> str:
    lines = [
        f"| {' | '.join(heads)} | shots | minutes | low a minute | medium and high, true | a minute | false | a minute "
        "| not judged |",
        "|---" * (len(heads) + 7) + "|",
    ]
    for key, some in rows:
        minutes = sum(v.seconds for v in some) / 60
        low = sum(len(v.notes) - len(v.loud) for v in some)
        verdicts = [verdict(v, n) for v in some for n in v.loud]
        true, false, none = (verdicts.count(word) for word in ("true", "false", ""))
        lines.append(
            f"| {' | '.join(key)} | {len(some)} | {minutes:.2f} | {low / minutes:.1f} | {true} | {true / minutes:.1f} "
            f"| {false} | {false / minutes:.1f} | {none} |"
        )
    return "\n".join(lines)


def wrong(found: Iterable[Viewed]) -> int:
    """How many notes of medium severity or above are not known to be true."""
    return sum(verdict(v, n) != "true" for v in found for n in v.loud)


def told(view: Viewed) -> Iterator[str]:
    for note in view.loud:
        yield (
            f"{view.clip} ({view.angle}): {verdict(view, note) or 'NOT JUDGED'}, {note.severity} of "
            f"{', '.join(note.parts)}, frames {note.start} to {note.end}, worst {note.worst}, {note.measured:.2f} px, "
            f"{note.kind}"
        )


def main(words: list[str]) -> int:
    """Prints every note of medium severity or above and the table; 1 where one is not known to be true."""
    parser = argparse.ArgumentParser(prog="python -m tests.corpus.tangent_rate")
    parser.add_argument("--more", type=Path, help="a folder with BVH, .blend and .glb files")
    parser.add_argument("--pictures", type=Path, help="a folder for a picture of each note of medium severity or above")
    parser.add_argument("--only", nargs="*", default=(), help="parts of the names of clips")
    parser.add_argument("--unseen", action="store_true", help="only cameras and lanterns by seed")
    asked = parser.parse_args(words)
    found: list[Viewed] = []
    for view in views(asked.more, asked.only, asked.pictures, asked.unseen):
        if isinstance(view, str):
            print(f"not used: {view}", flush=True)
            continue
        found.append(view)
        for line in told(view):
            print(line, flush=True)
    print(table(found))
    return int(wrong(found) > 0)


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
