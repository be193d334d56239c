# SPDX-License-Identifier: GPL-3.0-or-later
"""Hand-keyed files of a folder, sampled through Blender: every .blend's scene as it is, every .glb action by action."""

import contextlib
import io
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
from plumbline.blender_addon.sampling.sweep import CannotMeasure, Request, sweep_now
from plumbline.core.catalogue import chosen
from plumbline.core.need import Need
from plumbline.core.runner import needs_of
from plumbline.core.shot import Shot
from plumbline.core.testing.corpus import Subject, rates_of, resampled
from plumbline.sample_scenes import keeper_shot

from . import keeper_hop as hop

#: glTF tells no rate; these were keyed at 30, and must be read so or their keys land between frames.
GLB_FPS = 30


def subjects(folder: Path, only: str = "") -> Iterator[tuple[Subject, str]]:
    """Subjects of the folder's files with '' or the sentence why a file cannot be measured; ``only``: those whose name
    holds this."""
    for path in sorted(folder.rglob("*.blend")):
        if path.stem.startswith("rig-"):
            continue
        name = path.stem if "as_published" not in path.parts else f"{path.stem} (as published)"
        if only not in name:
            continue
        yield from _shots(name, lambda p=path: _blend(p), _source(path, folder))
    for path in sorted(folder.rglob("*.glb")):
        import_glb(path)
        for action in sorted(a.name for a in bpy.data.actions):
            if only not in f"{path.stem} {action}":
                continue
            yield from _shots(f"{path.stem} {action}", lambda p=path, a=action: _act(a),
                              _source(path, folder))


def _source(path: Path, folder: Path) -> str:
    return "/".join(path.parent.relative_to(folder).parts[:2])


def _shots(name: str, make: Callable[[], Shot], source: str) -> Iterator[tuple[Subject, str]]:
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            shot = replace(make(), name=name)
    except (CannotMeasure, RuntimeError) as why:
        yield Subject("hand-keyed", name, "own", lambda: None), str(why).splitlines()[0]  # type: ignore[return-value]
        return
    for fps in rates_of(shot.fps):
        own = fps == shot.fps
        yield Subject("hand-keyed", name, "own" if own else f"{fps:g}",
                      lambda s=shot, f=fps, o=own: s if o else resampled(s, f), source), ""


def sampled() -> Shot:
    """The open scene as it stands."""
    # no camera is asked for: the corpus judges bodies
    return sweep_now(bpy.context.scene, Request(needs=needs_of(chosen(None)) & ~Need.KISSES))


def open_blend(path: Path) -> None:
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            bpy.ops.wm.open_mainfile(filepath=str(path), use_scripts=False)
    except RuntimeError as error:
        # it raises for a missing library or texture although the file did open
        if Path(bpy.data.filepath) != path:
            raise
        print(f"{path.name}: {str(error).splitlines()[0]}", file=sys.stderr)


def _blend(path: Path) -> Shot:
    open_blend(path)
    return sampled()


def import_glb(path: Path) -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.context.scene.render.fps = GLB_FPS
    with contextlib.redirect_stdout(io.StringIO()):
        bpy.ops.import_scene.gltf(filepath=str(path))


def _assign(data: Any, action: Any) -> None:
    data.action = action
    if hasattr(data, "action_slot") and data.action_slot is None and action.slots:
        data.action_slot = action.slots[0]


def keeper() -> Shot:
    """The keeper's clean take, built and sampled."""
    return _built(keeper_shot.build, "keeper")


def keeper_hop() -> Shot:
    """The keeper's hop off a step."""
    return _built(hop.build, "keeper_hop")


def _built(build: Callable[[], Any], name: str) -> Shot:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    build()
    return replace(sweep_now(bpy.context.scene, Request(needs=needs_of(chosen(None)))), name=name)


def assign(name: str) -> None:
    """Lets every armature play an action, and sets the scene's range to it."""
    action = bpy.data.actions[name]
    scene = bpy.context.scene
    for owner in scene.objects:
        if owner.type == "ARMATURE":
            if owner.animation_data is None:
                owner.animation_data_create()
            for track in owner.animation_data.nla_tracks:
                track.mute = True
            _assign(owner.animation_data, action)
    scene.frame_start, scene.frame_end = (round(f) for f in action.frame_range)


def _act(name: str) -> Shot:
    assign(name)
    return sampled()
