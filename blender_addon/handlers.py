# SPDX-License-Identifier: GPL-3.0-or-later
"""What we do when Blender tells of edits, undo and files. Handlers only mark results stale, stop a running check, or
ask a timer to tidy up: they never measure."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import bpy
from bpy.app.handlers import persistent

from . import charting, edited_frames, limit_arcs, session, settings
from .drawing import chart_strip, ghosts, strips
from .redraw import panels as redraw_panels
from .sampling.probe import remove_strays


@contextmanager
def all_handlers() -> Iterator[None]:
    """Our handlers are in place inside the block; afterward neither they nor a waiting timer are left."""
    with ExitStack() as stack:
        stack.callback(_forget)
        for name, function in (
            ("depsgraph_update_post", mark_edits),
            ("frame_change_post", see_frame),
            ("undo_pre", stop_check),
            ("redo_pre", stop_check),
            ("save_pre", stop_check),
            ("load_pre", stop_check),
            ("undo_post", after_undo),
            ("redo_post", after_undo),
            ("load_post", after_load),
        ):
            stack.enter_context(_handler(getattr(bpy.app.handlers, name), function))
        yield


@persistent
def mark_edits(scene: Any, graph: Any = None) -> None:
    """Marks the scene's result as stale when something that is measured was edited; a step in time or a selection is
    none."""
    limit_arcs.stale = True
    checked = session.of(scene)
    if session.job is not None or session.undoing or checked is None or graph is None:
        return
    if session.step(scene):
        return
    name = next((update.id.name for update in graph.updates if _is_edit(update)), None)
    if name is not None:
        session.mark_edited(scene.session_uid, name)
        edited_frames.ask()
        redraw_panels()


@persistent
def see_frame(scene: Any, graph: Any = None) -> None:
    limit_arcs.stale = True
    session.step(scene)


@persistent
def stop_check(*_: Any) -> None:
    """A check must not live through undo, nor its temporary scene reach a file."""
    if session.job is not None:
        session.job.stop()


@persistent
def after_undo(*_: Any) -> None:
    session.undoing = True
    ask_to_tidy()


@persistent
def after_load(*_: Any) -> None:
    session.clear()
    ghosts.let_go()
    strips.let_go()
    chart_strip.let_go()
    charting.stop()
    session.undoing = False
    if hasattr(bpy.types.WindowManager, settings.NAME):
        here = settings.state()
        session.filling = True
        here.rows.clear()
        here.index = 0
        session.filling = False
    ask_to_tidy()


def ask_to_tidy() -> None:
    """Has stray temporary scenes removed, and what an undo brought looked at, at the next quiet moment: inside a
    handler of undo that would be too early."""
    if not bpy.app.timers.is_registered(tidy):
        bpy.app.timers.register(tidy, first_interval=0.0, persistent=True)


def tidy() -> float | None:
    """Removes stray temporary scenes and finds what an undo has left of the results; while a check runs it comes back
    later."""
    if session.job is not None:
        return 0.5
    remove_strays()
    if session.undoing:
        _evaluate()
        for scene in bpy.data.scenes:
            settings.follow_aside(scene)
            session.see_cards(scene)
        if session.mark_undone(bpy.data.scenes):
            edited_frames.ask()
        session.undoing = False
        redraw_panels()
    return None


def _evaluate() -> None:
    """Has Blender evaluate what an undo brought, so that it flags nothing of it later.

    What is found after that holds for an edit too that followed in the same breath.
    """
    manager = bpy.context.window_manager
    for window in manager.windows if manager is not None else ():
        window.view_layer.update()


def _is_edit(update: Any) -> bool:
    """Whether an update of the dependency graph can change what is measured.

    As seen in 4.2 to 5.2: selecting bones flags the armature object's geometry and no more; a pose flags the
    armature data, a
    key the action or the object's shading.
    """
    id = update.id
    if isinstance(id, bpy.types.Action):
        return True
    if isinstance(id, bpy.types.Object):
        return bool(update.is_updated_transform or (id.type == "ARMATURE" and update.is_updated_shading))
    if isinstance(id, bpy.types.Armature):
        return bool(update.is_updated_transform or update.is_updated_geometry or update.is_updated_shading)
    return isinstance(id, bpy.types.Mesh) and bool(update.is_updated_geometry)


@contextmanager
def _handler(handlers: list[Callable[..., None]], function: Callable[..., None]) -> Iterator[None]:
    handlers.append(function)
    try:
        yield
    finally:
        if function in handlers:
            handlers.remove(function)


def _forget() -> None:
    if session.job is not None:
        session.job.stop()
        session.job = None
    if bpy.app.timers.is_registered(tidy):
        bpy.app.timers.unregister(tidy)
    session.undoing = False
    limit_arcs.stop()
    edited_frames.stop()
    session.clear()
