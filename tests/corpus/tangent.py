# SPDX-License-Identifier: GPL-3.0-or-later
"""Kisses planted in Blender: a skinned figure of our own plays captured and keyed clips, a lantern comes to its head.

    python -m tests.corpus.tangent [CLIP ...]

The lantern is brought to the outline of the head at a gap that an oracle sets: convex hulls of vertices, placed by the
clip's own joints and seen through the matrix that Blender gives for its camera. Nothing of ours takes part in it.
"""

import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core import body
from plumbline.core.catalogue import catalogue
from plumbline.core.note import Note
from plumbline.core.runner import finish
from plumbline.core.shot import Character
from plumbline.core.testing import clips, rekey
from plumbline.core.testing.hulls import hull, signed_gap
from plumbline.core.testing.pods import block

from ..blender.kiss_plants import brought, seen
from ..blender.skinned import solid
from .played import carried, play, pods

Array = np.ndarray
CAPTURED = ("humanoid3d_walk", "humanoid3d_punch", "turn_left0", "test_mocapbank")
KEYED = ("humanoid3d_dance_a", "humanoid3d_kick", "turn_right0", "test_freebvh")
FPS, FRAMES, HELD = 24.0, 36, 8
LANTERN = block(0.06, 0.06, 0.2)
#: U by which a plant must stay clear of everything but the head.
CLEAR = 12.0


@dataclass(frozen=True)
class Planted:
    """One planted lantern: what was expected and what was said."""

    clip: str
    kind: str
    gap: float | None
    first: int
    last: int
    notes: tuple[Note, ...]
    mended: tuple[Note, ...] | None = None

    @property
    def hit(self) -> Note | None:
        """The note about the lantern at the head in the planted frames."""
        return next(
            (
                n
                for n in self.notes
                if n.part in ("head", "neck") and n.start <= self.last and n.end >= self.first and "Lantern" in n.parts
            ),
            None,
        )

    def row(self) -> dict[str, Any]:
        hit = self.hit
        found = {
            "check": "tangent",
            "clip": self.clip,
            "kind": self.kind,
            "gap": self.gap,
            "expected": "medium" if self.gap is not None else "silent",
            "found": str(hit.severity) if hit else "",
            "others": len(self.notes) - (hit is not None),
        }
        if self.gap is not None and hit is not None:
            found |= {
                "severity_right": str(hit.severity) == "medium",
                "worst_right": self.first - 1 <= hit.worst <= self.last + 1,
                "size_right": abs(hit.measured - self.gap) <= 1.0,
                "measured": round(hit.measured, 2),
                "mended": self.mended is not None and not self.mended,
            }
        return found


class Stage:
    """One clip on a figure in Blender, seen by a camera that goes along, with a lantern that can be planted."""

    def __init__(self, name: str, keyed: bool, azimuth: float = 35.0) -> None:
        shot = clips.load(name, FPS)
        if keyed:
            shot = rekey.rekeyed(shot)
        self.who, self.name = shot.characters[0], f"{name}{' keyed' if keyed else ''}"
        self.count = min(FRAMES, shot.count)
        self.height = self.who.height
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.scene = bpy.context.scene
        self.scene.render.fps = int(FPS)
        self.scene.render.resolution_x, self.scene.render.resolution_y = 1920, 1080
        self.scene.frame_start, self.scene.frame_end = 1, self.count
        self.meshes = pods(self.who)
        play(self.scene, self.who, self.meshes, self.count)
        self.lantern = solid(self.scene, "Lantern", LANTERN)
        self.lantern["plumbline_prop"] = True
        self.camera = self._shoot(azimuth)
        self.outlines = [
            {part: hull(self.seen(f, self.placed(part, f))) for part in self.who.parts} for f in range(self.count)
        ]

    def placed(self, part: str, f: int) -> Array:
        """World places of a part's vertices in frame f of the clip, 0 first, by the clip's own joints."""
        return carried(self.who, part, self.meshes[part][0], f)

    def _shoot(self, azimuth: float) -> Any:
        data = bpy.data.cameras.new("View")
        camera = bpy.data.objects.new("View", data)
        self.scene.collection.objects.link(camera)
        self.scene.camera = camera
        head = self.who.head("head")[: self.count]
        t = np.arange(self.count)
        path = np.stack([np.polyval(np.polyfit(t, head[:, k], 1), t) for k in range(3)], -1)
        facing = np.degrees(np.arctan2(*(-self.who.forward[:2])[::-1])) - 90.0
        a = np.radians(azimuth + facing)
        self.eyes = []
        for f in range(self.count):
            place = Vector(path[f]) + 2.1 * self.height * Vector((np.sin(a), -np.cos(a), 0.1))
            aim = Vector(path[f]) - Vector((0, 0, 0.05 * self.height))
            camera.location, camera.rotation_euler = place, (aim - place).to_track_quat("-Z", "Y").to_euler()
            camera.keyframe_insert("location", frame=f + 1)
            camera.keyframe_insert("rotation_euler", frame=f + 1)
            self.eyes.append(Matrix.Translation(place) @ camera.rotation_euler.to_matrix().to_4x4())
        return camera

    def seen(self, f: int, points: Array) -> Array:
        """Pixels (n, 2) by Blender's own projection."""
        self.camera.matrix_world = self.eyes[f]
        return seen(self.scene, self.camera, points)

    def around_head(self, f: int, nearer: float, direction: float) -> tuple[Array, Array]:
        """Where the lantern's way starts, and its direction across the view."""
        eye = self.eyes[f]
        head = self.placed("head", f).mean(axis=0)
        ray = np.array(eye.translation) - head
        way = np.radians(direction)
        across = np.array(eye.col[0][:3]) * np.cos(way) + np.array(eye.col[1][:3]) * np.sin(way)
        return head + ray / np.linalg.norm(ray) * nearer, across

    def at_gap(self, f: int, gap: float, nearer: float, direction: float) -> Array:
        head = hull(np.concatenate([self.outlines[f][p] for p in ("head", "neck") if p in self.outlines[f]]))
        way = self.around_head(f, nearer, direction)
        return brought(head, LANTERN[0], lambda points: self.seen(f, points), way, gap, 1.5 * self.height)

    def clean(self, first: int, nearer: float, direction: float) -> bool:
        """Whether a lantern that kisses the head here stays clear of all the rest of the figure, inside the picture."""
        for f in range(max(0, first - 2), min(self.count, first + HELD + 2)):
            lantern = hull(self.seen(f, LANTERN[0] + self.at_gap(f, 1.0, nearer, direction)))
            if lantern.min() < 20 or (lantern.max(axis=0) > (1900, 1060)).any():
                return False
            rest = [p for p in self.who.parts if p not in ("head", "neck")]
            if any(signed_gap(self.outlines[f][p], lantern) < CLEAR for p in rest):
                return False
        return True

    def place(self, places: Sequence[Array]) -> None:
        """Keys the lantern on every frame."""
        self.lantern.animation_data_clear()
        for f, place in enumerate(places):
            self.lantern.location = place
            self.lantern.keyframe_insert("location", frame=f + 1)

    def notes(self) -> tuple[Note, ...]:
        check = catalogue()["tangent"]
        result = finish(sweep_now(self.scene, Request(check.needs())), [check])
        assert not result.failed, result.failed[0].trace
        return tuple(result.notes)

    def mended(self, note: Note) -> tuple[Note, ...]:
        """What is said once the note's remedy is keyed."""
        remedy = note.remedy
        assert remedy is not None and remedy.target == "Lantern"
        (first, last), ease = remedy.frames, remedy.ease
        places: list[Array] = []
        for frame in range(1, self.count + 1):
            self.scene.frame_set(frame)
            weight = max(0.0, 1.0 - max(first - frame, frame - last, 0) / (ease + 1))
            places.append(np.array(self.lantern.location) + np.array(remedy.offset) * weight)
        self.place(places)
        return self.notes()


def planted(name: str, keyed: bool) -> Iterator[Planted]:
    """All plants in one clip: three that are to be found, and those that are to stay silent."""
    ways = [(share, way) for way in (20.0, 160.0, 50.0, 130.0, 90.0, 70.0, 110.0) for share in (0.26, -0.2)]
    for azimuth in (35.0, -60.0, 90.0, 0.0, 150.0):
        stage = Stage(name, keyed, azimuth)
        first = (stage.count - HELD) // 2
        last = first + HELD - 1
        good = [s for s in ((n * stage.height, d) for n, d in ways) if stage.clean(first, *s)]
        if good:
            break
    else:
        raise ValueError(f"no place beside the head of {name} is clear of the rest of the body")
    setup = good[len(stage.name) % len(good)]

    def keyed_at(gap: float, start: int, stop: int, leave: float) -> None:
        away = [max(start - f, f - stop, 0) for f in range(stage.count)]
        stage.place([stage.at_gap(f, min(gap + leave * away[f], 250.0), *setup) for f in range(stage.count)])

    for gap in (0.0, 1.0, 2.0):
        keyed_at(gap, first, last, 5.0)
        notes = stage.notes()
        case = Planted(stage.name, "kiss", gap, first + 1, last + 1, notes)
        yield Planted(*_fields(case), None if case.hit is None else stage.mended(case.hit))
    keyed_at(0.0, first, last, 5.0)
    wall = _wall(stage)
    yield Planted(stage.name, "behind a wall", None, first + 1, last + 1, stage.notes())
    bpy.data.objects.remove(wall)
    for kind, gap, start, stop, leave in (("4 px", 4.0, first, last, 5.0), ("in passing", 0.0, first, first + 2, 25.0)):
        keyed_at(gap, start, stop, leave)
        yield Planted(stage.name, kind, None, 1, stage.count, stage.notes())
    end = stage.who.end(_hand(stage.who))
    stage.place([end[f] + np.array([0.0, 0.0, -0.1]) for f in range(stage.count)])
    notes = tuple(n for n in stage.notes() if n.part in body.LIMBS[f"arm.{_hand(stage.who)[-1]}"])
    yield Planted(stage.name, "in the hand", None, 1, stage.count, notes)


def _fields(case: Planted) -> tuple[Any, ...]:
    return case.clip, case.kind, case.gap, case.first, case.last, case.notes


def _hand(who: Character) -> str:
    return next(p for p in ("hand.L", "forearm.L") if who.has(p))


def rows(names: Sequence[str] = ()) -> Iterator[dict[str, Any]]:
    """The table's rows, clip by clip."""
    for keyed, group in ((False, CAPTURED), (True, KEYED)):
        for name in group:
            if not names or name in names:
                for case in planted(name, keyed):
                    yield case.row()


def _wall(stage: Stage) -> Any:
    """A wall between camera and figure, across the whole view."""
    wall = solid(stage.scene, "Wall", block(6.0, 6.0, 0.04))
    wall["plumbline_prop"] = False
    wall.parent = stage.camera
    wall.location = (0.0, 0.0, -0.8 * stage.height)
    return wall


# ---- the table -------------------------------------------------------------------------------------------------------


def table(found: Sequence[dict[str, Any]]) -> str:
    """What was found of what was planted, and what was said where nothing was to be said."""
    lines = []
    for keyed in (False, True):
        group = [r for r in found if r["clip"].endswith(" keyed") == keyed]
        if not group:
            continue
        lines.append(f"{'keyed' if keyed else 'captured'}, {len({r['clip'] for r in group})} clips")
        for gap in (0.0, 1.0, 2.0):
            some = [r for r in group if r["gap"] == gap]
            hits = [r for r in some if r["found"]]
            tell = ", ".join(
                f"{word} {sum(bool(r[key]) for r in hits)}"
                for word, key in (
                    ("severity right", "severity_right"),
                    ("worst within 1", "worst_right"),
                    ("gap within 1 px", "size_right"),
                    ("mended", "mended"),
                )
            )
            others = sum(r["others"] for r in some)
            lines.append(f"  {gap:.0f} px: found {len(hits)} of {len(some)}, {tell}, other notes {others}")
        for kind in ("4 px", "in passing", "behind a wall", "in the hand"):
            some = [r for r in group if r["kind"] == kind]
            spoke = sum(bool(r["found"]) + r["others"] for r in some)
            lines.append(f"  {kind}: {len(some)} plants, notes {spoke}")
    return "\n".join(lines)


def right(row: dict[str, Any]) -> bool:
    """Whether a plant was found as it is and nothing else was said, or nothing where nothing was to be said."""
    if row["gap"] is None:
        return not (row["found"] or row["others"])
    told = ("severity_right", "worst_right", "size_right", "mended")
    return bool(row["found"]) and all(row[key] for key in told) and not row["others"]


def main(names: Sequence[str] = ()) -> int:
    """Prints the table; 1 where a plant was missed or a note was raised that should not be."""
    found = []
    for row in rows(names):
        found.append(row)
        print(row, flush=True)
    print(table(found))
    return int(not all(right(row) for row in found))


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    os._exit(code)
