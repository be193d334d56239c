# SPDX-License-Identifier: GPL-3.0-or-later
"""Random steps of a person on the keeper's shot: nothing may crash, nothing but an asked edit may touch the animation.

``python -m tests.blender.soak [STEPS [SEED]]`` walks 10,000 steps and prints what was done and how much memory grew.
"""

import hashlib
import os
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from plumbline.blender_addon import compat, handlers, registration, session, settings
from plumbline.blender_addon.sampling.probe import MARK
from plumbline.core.check import LANES
from plumbline.sample_scenes import keeper_faults


class Walk:
    """One random walk. done: how often each step was taken."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.random = random.Random(seed)
        self.file = str(folder / "keeper.blend")
        self.done: Counter[str] = Counter()
        bpy.ops.wm.read_factory_settings(use_empty=True)
        keeper_faults.build()
        scene = bpy.context.scene
        scene.frame_start, scene.frame_end = 84, 110  # the even turn of the head: a short check, many of them
        bpy.ops.wm.save_as_mainfile(filepath=self.file)
        self.quiet: dict[str, Callable[[], Any]] = {
            "check": self.check,
            "go": lambda: self.operator("go_to_note", number=self.number()),
            "next": lambda: self.operator("next_note"),
            "previous": lambda: self.operator("previous_note"),
            "frame": lambda: bpy.context.scene.frame_set(self.random.randint(80, 115)),
            "severity": lambda: self.operator("show_severity", severity=self.random.choice(["low", "medium", "high"])),
            "lane": lambda: self.operator("show_lane", lane=self.random.choice(list(LANES))),
            "aside": lambda: self.pushed("set_aside", number=self.number(), reason="As intended"),
            "back": lambda: self.pushed("bring_back", number=self.number()),
            "markers": lambda: self.pushed("add_markers"),
            "no markers": lambda: self.pushed("remove_markers"),
            "keys": lambda: self.pushed("select_keys"),
            "card": lambda: self.pushed("set_height", height=self.random.uniform(1.6, 1.9)),
            "range": self.range,
        }
        self.loud: dict[str, Callable[[], Any]] = {
            "edit": self.edit,
            "ease": lambda: self.pushed("ease_span"),
            "pin": lambda: self.pushed("pin_part"),
            "undo": lambda: self.history(bpy.ops.ed.undo),
            "redo": lambda: self.history(bpy.ops.ed.redo),
            "load": lambda: bpy.ops.wm.open_mainfile(filepath=self.file),
        }

    def step(self) -> str:
        """Takes one step; returns its name. Raises where a quiet step changed the animation."""
        name = self.random.choice([*self.quiet, *self.loud])
        self.done[name] += 1
        before = "" if name in self.loud else animation()
        (self.quiet | self.loud)[name]()
        if before and animation() != before:
            raise AssertionError(f"the step {name!r} changed the animation")
        strays = [data.name for data in (*bpy.data.collections, *bpy.data.objects, *bpy.data.scenes) if data.get(MARK)]
        if strays:
            raise AssertionError(f"the step {name!r} left {strays}")
        return name

    def check(self) -> None:
        bpy.context.view_layer.update()
        bpy.ops.plumbline.check_shot()
        found = session.of(bpy.context.scene)
        if found is None or found.result is None or found.result.failed:
            raise AssertionError(f"the check failed: {found and (found.why or found.result.failed)}")

    def number(self) -> int:
        return self.random.randint(-1, 3)

    def operator(self, name: str, **words: Any) -> None:
        operator = getattr(bpy.ops.plumbline, name)
        if operator.poll():
            operator(**words)

    def pushed(self, name: str, **words: Any) -> None:
        """An operator with undo, which in background must be pushed by hand."""
        self.operator(name, **words)
        bpy.ops.ed.undo_push(message=name)

    def history(self, operator: Any) -> None:
        if operator.poll():
            try:
                operator()
            except RuntimeError as error:  # nothing to undo
                if "undo" not in str(error).lower() and "redo" not in str(error).lower():
                    raise
            handlers.tidy()  # as a timer would, which in background does not tick

    def edit(self) -> None:
        rig = next(o for o in bpy.context.scene.objects if o.type == "ARMATURE")
        bone = rig.pose.bones["head"]
        bone.rotation_euler.x += self.random.uniform(-0.1, 0.1)
        bone.keyframe_insert("rotation_euler", frame=self.random.randint(84, 110))
        bpy.context.view_layer.update()
        bpy.ops.ed.undo_push(message="edit")

    def range(self) -> None:
        scene = bpy.context.scene
        scene.use_preview_range = not scene.use_preview_range
        scene.frame_preview_start, scene.frame_preview_end = 88, self.random.randint(96, 108)


def animation() -> str:
    """A fingerprint of all keys of the scene's objects."""
    out = hashlib.blake2b()
    for thing in bpy.context.scene.objects:
        for curve, _ in compat.curves_of(thing):
            out.update(f"{thing.name}{curve.data_path}{curve.array_index}".encode())
            for name, width in (("co", 2), ("handle_left", 2), ("handle_right", 2)):
                flat = np.empty(len(curve.keyframe_points) * width, np.float32)
                curve.keyframe_points.foreach_get(name, flat)
                out.update(flat.tobytes())
    return out.hexdigest()


def megabytes() -> float:
    """Memory of this process, where the system tells it; else 0."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def walk(steps: int, seed: int = 1, say: Callable[[str], None] = print) -> tuple[Counter[str], list[float]]:
    """Walks so many steps with the add-on registered; counts by step, and memory in MB at ten points of the way."""
    registration.register()
    try:
        with tempfile.TemporaryDirectory() as folder:
            way = Walk(seed, Path(folder))
            memory = []
            for i in range(steps):
                way.step()
                if (i + 1) % max(steps // 10, 1) == 0:
                    memory.append(megabytes())
                    say(f"{i + 1} steps, {memory[-1]:.0f} MB, {len(settings.state().rows)} rows")
            return way.done, memory
    finally:
        registration.unregister()


if __name__ == "__main__":
    counts, grown = walk(*(int(word) for word in (sys.argv[1:3] or ["10000"])))
    print(", ".join(f"{name} {n}" for name, n in counts.most_common()))
    print(f"memory: {grown[0]:.0f} MB after a tenth of the way, {grown[-1]:.0f} MB at its end")
    sys.stdout.flush()
    os._exit(0)
