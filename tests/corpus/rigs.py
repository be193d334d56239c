# SPDX-License-Identifier: GPL-3.0-or-later
"""The table of rigs for the body map: builds them in Blender, runs the finder, counts parts right, wrong and missing.

    python tests/corpus/rigs.py [--more DIR] [--unseen SEED] [--write]

--more adds the hand-keyed characters and captured BVH files that lie in DIR; --unseen counts 840 random humans more,
from a seed that nobody has used, apart from the table; --write puts the table into docs/body_map.md. Truths are written
by hand (rig_truths.py), or follow from how a rig is built (random humans: core/testing/humans.py). The table's own
seeds of random humans have been run many times.
"""

import argparse
import contextlib
import io
import os
import re
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import bpy
import numpy as np
from plumbline.blender_addon.sampling.skeleton import skeleton_of
from plumbline.core import body
from plumbline.core.body_map.find import find
from plumbline.core.body_map.skeleton import Skeleton
from plumbline.core.testing.humans import DEFAULTS, HABITS, Human, human
from rig_truths import (
    ANIMALS,
    BASIC,
    CMU,
    GODOT,
    KAYKIT,
    MESH2MOTION,
    PANDA,
    RUNNER,
    SANTA,
    Truth,
    generated,
    truth_of,
)

DOCS = Path(__file__).resolve().parents[2] / "docs" / "body_map.md"
FIRST_SEED, UNSEEN = 50_000, 840


@dataclass
class Row:
    """One rig's outcome."""

    kind: str
    rig: str
    bones: int
    human: bool
    right: int = 0
    wrong: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    seconds: float = 0.0


def judge(kind: str, rig: str, skeleton: Skeleton, truth: Truth, is_human: bool) -> Row:
    start = time.process_time()
    found = find(skeleton)
    row = Row(kind, rig, len(skeleton), is_human, seconds=time.process_time() - start)
    for part in body.PARTS:
        bone = skeleton.names[found.parts[part]] if part in found.parts else None
        if part not in truth:
            if bone is not None:
                row.wrong.append(f"{part}={bone} (has none)")
        elif bone is None:
            row.missing.append(part)
        elif bone in truth[part]:
            row.right += 1
        else:
            row.wrong.append(f"{part}={bone}")
    return row


def armatures() -> list[bpy.types.Object]:
    return [o for o in bpy.data.objects if o.type == "ARMATURE"]


def fresh() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)


# -- Rigify ----------------------------------------------------------------------------------------

def rigify() -> Iterator[Row]:
    import addon_utils  # only there once bpy is

    addon_utils.enable("rigify", default_set=True)
    people = (("human", BASIC, True), ("basic_human", BASIC, True))
    animals = tuple((name, truth_of(lines), False) for name, lines in ANIMALS.items())
    for name, truth, is_human in people + animals:
        fresh()
        addon_utils.enable("rigify", default_set=True)
        getattr(bpy.ops.object, f"armature_{name}_metarig_add")()
        meta = bpy.context.object
        yield judge("Rigify", f"meta-rig {name}", skeleton_of([meta]), truth, is_human)
        with contextlib.redirect_stdout(io.StringIO()):
            bpy.ops.pose.rigify_generate()
        rig = next(o for o in armatures() if o != meta)
        yield judge("Rigify", f"generated {name}", skeleton_of([rig]), generated(truth), is_human)


# -- round trips and random humans -----------------------------------------------------------------


def armature_from(made: Human, skinned: bool = True) -> bpy.types.Object:
    """A real armature of a made skeleton, with a small skin where it has weights."""
    sk = made.skeleton
    data = bpy.data.armatures.new("Armature")
    object = bpy.data.objects.new("Armature", data)
    bpy.context.scene.collection.objects.link(object)
    bpy.context.view_layer.objects.active = object
    bpy.ops.object.mode_set(mode="EDIT")
    edit = {}
    for i, name in enumerate(sk.names):
        bone = data.edit_bones.new(name)
        bone.head, bone.tail = sk.heads[i], sk.tails[i]
        edit[i] = bone
    for i, parent in enumerate(sk.parents):
        if parent >= 0:
            edit[i].parent = edit[int(parent)]
    bpy.ops.object.mode_set(mode="OBJECT")
    weighted = [i for i in range(len(sk)) if sk.weight[i] > 0]
    if weighted and skinned:
        corners = np.concatenate([[(sk.heads[i] + sk.tails[i]) / 2 + d for d in np.eye(3) * 0.01] for i in weighted])
        mesh = bpy.data.meshes.new("Skin")
        mesh.from_pydata([tuple(c) for c in corners], [], [(3 * k, 3 * k + 1, 3 * k + 2) for k in range(len(weighted))])
        skin = bpy.data.objects.new("Skin", mesh)
        bpy.context.scene.collection.objects.link(skin)
        for k, i in enumerate(weighted):
            skin.vertex_groups.new(name=sk.names[i]).add([3 * k, 3 * k + 1, 3 * k + 2], 1.0, "REPLACE")
        skin.parent = object
        skin.modifiers.new("Armature", "ARMATURE").object = object
    bpy.context.view_layer.update()
    return object


def habit_of(seed: int) -> Human:
    k = seed % (len(HABITS) + len(DEFAULTS))
    return human(seed, HABITS[k]) if k < len(HABITS) else human(seed, None, DEFAULTS[k - len(HABITS)])


def random_humans(count: int, first: int = FIRST_SEED) -> Iterator[Row]:
    """Through Blender's own armatures, so that names are what Blender keeps (63 bytes, made unique)."""
    for seed in range(first, first + count):
        made = habit_of(seed)
        fresh()
        yield judge("random human", f"{seed}: {made.what}", skeleton_of([armature_from(made)]), made.truth, True)


def _bvh(path: str) -> None:
    bpy.context.scene.frame_end = 2
    bpy.ops.export_anim.bvh(filepath=path, frame_start=1, frame_end=2)
    fresh()
    bpy.ops.import_anim.bvh(filepath=path)


def _fbx(path: str) -> None:
    bpy.ops.export_scene.fbx(filepath=path, use_selection=False, bake_anim=False)
    fresh()
    bpy.ops.import_scene.fbx(filepath=path)


def _gltf(path: str) -> None:
    bpy.ops.export_scene.gltf(filepath=path, export_animations=False)
    fresh()
    bpy.ops.import_scene.gltf(filepath=path)


def _usd(path: str) -> None:
    bpy.ops.wm.usd_export(filepath=path, export_armatures=True)
    fresh()
    bpy.ops.wm.usd_import(filepath=path)


TRIPS = (("BVH", ".bvh", _bvh), ("FBX", ".fbx", _fbx), ("glTF", ".glb", _gltf), ("USD", ".usdc", _usd))


def _folded(name: str) -> str:
    """As the formats bend names: what is no ASCII letter or digit becomes one underscore a byte (and runs of them are
    one here).
    """
    return re.sub("_+", "_", "".join(c if c.isalnum() and c.isascii() else "_" for c in name))


def round_trips() -> Iterator[Row]:
    for seed in range(FIRST_SEED + 900, FIRST_SEED + 910):
        made = human(seed, HABITS[(seed * 3) % 12] if seed % 4 else None)
        for label, suffix, trip in TRIPS:
            fresh()
            object = armature_from(made)
            if label != "BVH" and not any(o.type == "MESH" for o in bpy.data.objects):
                continue  # without a skin these formats carry no skeleton
            object.select_set(True)
            with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
                trip(os.path.join(folder, f"trip{suffix}"))
            back = armatures()
            rig = f"{seed}: {made.what}, through {label}"
            if not back:
                row = Row("round trip", rig, 0, True, missing=list(made.truth))
                row.wrong.append("no armature came back")
                yield row
                continue
            skeleton = skeleton_of(back[:1])
            truth = {
                p: frozenset(n for n in skeleton.names if _folded(n) in {_folded(t) for t in names})
                for p, names in made.truth.items()
            }
            yield judge("round trip", rig, skeleton, truth, True)


# -- what lies elsewhere ---------------------------------------------------------------------------

def more_rigs(folder: Path) -> Iterator[Row]:
    keyed = folder / "handkeyed"
    for rig, file, name, truth, is_human in (
        ("mesh2motion", "mesh2motion/rigs/rig-human.blend", "Armature", MESH2MOTION, True),
        (
            "mesh2motion, override",
            "mesh2motion/rigs/human/animation-human-victory.blend",
            "Armature",
            MESH2MOTION,
            True,
        ),
        (
            "mesh2motion, library missing",
            "mesh2motion/as_published/animation-human-victory.blend",
            "Armature",
            MESH2MOTION,
            True,
        ),
        ("kaykit Mage", "kaykit/Mage.glb", "Rig", KAYKIT, True),
        ("godot robot", "godot_platformer/player.glb", "Skeleton", GODOT, True),
        ("panda", "blend4web/Panda_b4w_Final.blend", "Armature.001", PANDA, False),
        ("runner", "blend4web/newYearGame.blend", "Armature", RUNNER, True),
        ("collider", "blend4web/newYearGame.blend", "ColiderNew", {}, False),
        ("Santa", "blend4web/santa_runner_v5.blend", "ArmatureSanta", SANTA, True),
    ):
        path = keyed / file
        if not path.exists():
            continue
        fresh()
        with contextlib.redirect_stdout(io.StringIO()):
            try:
                if path.suffix == ".glb":
                    bpy.ops.import_scene.gltf(filepath=str(path))
                else:
                    bpy.ops.wm.open_mainfile(filepath=str(path))
            except RuntimeError as error:
                if not bpy.data.objects:  # a file of a newer Blender
                    print(f"left out {rig}: {str(error).splitlines()[0]}", file=sys.stderr)
                    continue
        yield judge("hand-keyed", rig, skeleton_of([bpy.data.objects[name]]), truth, is_human)
    for path in sorted((folder / "captured").glob("*.bvh")):
        fresh()
        with contextlib.redirect_stdout(io.StringIO()):
            bpy.ops.import_anim.bvh(filepath=str(path))
        yield judge("captured", path.stem, skeleton_of(armatures()), CMU, True)


# -- the table -------------------------------------------------------------------------------------


def total(rows: Sequence[Row]) -> str:
    right, wrong, missing = (
        sum(r.right for r in rows),
        sum(len(r.wrong) for r in rows),
        sum(len(r.missing) for r in rows),
    )
    every = max(right + wrong + missing, 1)
    whole = sum(not r.wrong and not r.missing for r in rows)
    return (
        f"{len(rows)} rigs ({whole} without a fault): {right} parts right, "
        f"{wrong} wrong ({100 * wrong / every:.2f} %), {missing} missing ({100 * missing / every:.2f} %)"
    )


def page(rows: list[Row], words: str, unseen: Sequence[Row] = (), first: int = 0) -> str:
    """words: what the command was given."""
    lines = [
        "# Body map: the table of rigs",
        "",
        f"Written by `python tests/corpus/rigs.py{words} --write` on Blender {bpy.app.version_string}, "
        f"numpy {np.__version__}. Do not edit by hand.",
        "",
        "The finder's dictionary and the random humans' naming habits were written by the same hands; seeds are "
        "held out, kinds of rig "
        "are not. A bone counts as right if it is one of those that the rig's maker would accept for the part.",
        "",
        f"- Humans: {total([r for r in rows if r.human])}",
        f"- All: {total(rows)}",
    ]
    for kind in dict.fromkeys(r.kind for r in rows):
        lines.append(f"- {kind}: {total([r for r in rows if r.kind == kind])}")
    if unseen:
        lines.append(
            f"- Not in the table, random humans of seeds {first} to {first + len(unseen) - 1}, first used in this run: "
            f"{total(unseen)}"
        )
    slow = max(rows, key=lambda r: r.seconds)
    lines += [
        f"- Slowest: {slow.rig}, {slow.bones} bones, {slow.seconds:.2f} s of CPU",
        "",
        "| kind | rig | bones | right | wrong | missing |",
        "|---|---|---|---|---|---|",
    ]
    for r in rows:
        if r.kind != "random human" or r.wrong or r.missing:
            faults = f"{', '.join(r.wrong) or '0'} | {', '.join(r.missing) or '0'}"
            lines.append(f"| {r.kind} | {r.rig} | {r.bones} | {r.right} | {faults} |")
    quiet = sum(r.kind == "random human" and not r.wrong and not r.missing for r in rows)
    return "\n".join([*lines, "", f"{quiet} random humans without a fault are not listed.", ""])


def main(more: str | None = None, *, write: bool = False, humans: int = 112, unseen: int | None = None) -> list[Row]:
    """Runs the table, prints it, and gives its rows. more: a folder of further characters; unseen: the first seed of
    humans that are counted apart."""
    rows: list[Row] = []
    for source in (rigify(), round_trips(), random_humans(humans), more_rigs(Path(more)) if more else iter(())):
        for row in source:
            rows.append(row)
            if sys.stderr.isatty():
                print(f"\r{len(rows)} rigs", end="", file=sys.stderr)
    apart = [] if unseen is None else list(random_humans(UNSEEN, unseen))
    words = (" --more DIR" if more else "") + (f" --unseen {unseen}" if apart else "")
    text = page(rows, words, apart, unseen or 0)
    print(text)
    for row in apart:
        if row.wrong or row.missing:
            print(f"unseen {row.rig}: wrong {', '.join(row.wrong) or '0'}; missing {', '.join(row.missing) or '0'}")
    if write:
        DOCS.write_text(text, encoding="utf-8")
    return rows


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python tests/corpus/rigs.py")
    parser.add_argument("--more")
    parser.add_argument("--unseen", type=int)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    main(asked.more, write=asked.write, unseen=asked.unseen)
    sys.stdout.flush()
    os._exit(0)  # pip's bpy may hang at exit
