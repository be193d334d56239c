# SPDX-License-Identifier: GPL-3.0-or-later
"""The one button: measures and checks the scene, with a timer, and leaves everything as it was."""

import time
from typing import Any

import bpy

from .. import mending, redraw, session, settings
from ..checking import Checking
from ..translation import iface_, rpt_
from .refusing import Refusing

#: Seconds of work between two looks at the keyboard, and seconds between two slices.
_SLICE, _PAUSE = 0.03, 0.005
#: Seconds between two pictures of the progress: drawing the window may cost more than a slice.
_SHOW = 0.25
#: Events that only turn the view; all others wait until the check has ended.
_VIEW = {
    "MIDDLEMOUSE",
    "WHEELUPMOUSE",
    "WHEELDOWNMOUSE",
    "WHEELINMOUSE",
    "WHEELOUTMOUSE",
    "TRACKPADPAN",
    "TRACKPADZOOM",
    "MOUSEROTATE",
    "MOUSESMARTZOOM",
    "NDOF_MOTION",
    "MOUSEMOVE",
    "INBETWEEN_MOUSEMOVE",
    "TIMER",
    "TIMER_REPORT",
    "WINDOW_DEACTIVATE",
}


class PLUMBLINE_OT_check_shot(Refusing, bpy.types.Operator):
    """Measure every character in the frame range and list what breaks its limit. The scene stays as it is"""

    bl_idname = "plumbline.check_shot"
    bl_label = "Check Shot"
    bl_options = {"REGISTER"}

    _timer: Any = None
    _shown = 0.0

    @staticmethod
    def refusal(context: Any) -> str:
        good = context.scene is not None and context.scene.library is None
        return "" if good else rpt_("There is no scene that can be checked")

    def invoke(self, context: Any, event: Any) -> Any:
        if bpy.app.background or context.window is None:
            return self.execute(context)
        session.job = Checking(context.scene)
        manager = context.window_manager
        self._timer = manager.event_timer_add(_PAUSE, window=context.window)
        manager.modal_handler_add(self)
        self._show(context)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Any:
        """Without a window there is nobody to show progress to: all at once."""
        session.job = Checking(context.scene)
        session.job.finish()
        return self._end(context, context.scene)

    def modal(self, context: Any, event: Any) -> Any:
        job = session.job
        if job is None or job.done:  # stopped by undo, by a save or by another file
            return self._stopped(context)
        if event.type == "ESC":
            job.stop()
            job.settle()
            self.report({"INFO"}, "Check stopped; the scene is as it was")
            return self._stopped(context)
        if event.type != "TIMER":
            return {"PASS_THROUGH"} if event.type in _VIEW and _harmless(context) else {"RUNNING_MODAL"}
        if job.slice(_SLICE):
            if time.perf_counter() - self._shown > _SHOW:
                self._show(context)
            return {"PASS_THROUGH"}
        scene = next((s for s in bpy.data.scenes if s.session_uid == job.uid), None)
        self._leave(context)
        return self._end(context, scene)

    def cancel(self, context: Any) -> None:
        """Called by Blender where it ends the operator itself: another file, a closed window."""
        if session.job is not None:
            session.job.stop()
        self._leave(context)
        session.job = None

    def _stopped(self, context: Any) -> Any:
        self._leave(context)
        session.job = None
        return {"CANCELLED"}

    def _show(self, context: Any) -> None:
        """Progress where people look: the panel's row and the status bar.

        Nothing is written to a property for it: that would have every editor of every window drawn again.
        """
        self._shown = time.perf_counter()
        job = session.job
        context.workspace.status_text_set(progress_text(job) + "    " + iface_("Esc to stop; the scene stays as it is"))
        redraw.panels()

    def _leave(self, context: Any) -> None:
        if self._timer is not None:
            context.window_manager.event_timer_remove(self._timer)
            self._timer = None
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        redraw.panels()

    def _end(self, context: Any, scene: Any) -> Any:
        session.job = None
        checked = session.of(scene) if scene is not None else None
        if checked is None:
            return {"CANCELLED"}
        settings.fill_rows(scene)
        if checked.result is None:
            self.report({"WARNING"}, checked.why)
            return {"CANCELLED"}
        told = mending.outcome(checked.notes)
        if told:
            self.report({"INFO"}, told)
            return {"FINISHED"}
        notes = len(checked.notes)
        some = rpt_("1 note") if notes == 1 else rpt_("{:d} notes").format(notes)
        self.report({"INFO"}, some if notes else rpt_("No notes"))
        return {"FINISHED"}


def progress_text(job: Checking) -> str:
    """'Reading Frame 212 of 480', as the row and the status bar say it."""
    if job.frame or job.stage == "Reading":
        return iface_("Reading Frame {:d} of {:d}").format(job.frame, job.last)
    return iface_(job.stage)


def _harmless(context: Any) -> bool:
    """False where turning the view would move the camera, which is an edit with a step of undo."""
    return not any(
        area.type == "VIEW_3D"
        and area.spaces.active.lock_camera
        and area.spaces.active.region_3d.view_perspective == "CAMERA"
        for area in (context.screen.areas if context.screen else ())
    )
