# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing charts of a scene's last check, worked out once, by a timer at a quiet moment, figure by figure."""

from typing import Any

import bpy

from ..core.chart import Chart, chart
from ..core.study import Study
from . import redraw, session, settings

#: Seconds between two figures.
_PAUSE = 0.01
#: By a scene's session_uid the check that the charts are of, and those that are ready.
_kept: dict[int, tuple[session.Checked, list[Chart]]] = {}


def charts_of(scene: Any) -> tuple[Chart, ...] | None:
    """The charts of the scene's last check; None while there is none or they are not all ready, which then is asked
    for."""
    checked = session.of(scene)
    if checked is None or checked.shot is None:
        return None
    kept = _kept.get(scene.session_uid)
    if kept is None or kept[0] is not checked or len(kept[1]) < len(checked.shot.characters):
        if not bpy.app.timers.is_registered(_tick):
            bpy.app.timers.register(_tick, first_interval=_PAUSE)
        return None
    return tuple(kept[1])


def chart_of(context: Any) -> Chart | None:
    """The chart that is shown: of the character whose notes the list shows alone, else of the active armature, else of
    the first."""
    charts = charts_of(context.scene)
    if not charts:
        return None
    active = context.view_layer.objects.active
    wanted = (settings.state(context).show_character, active.name if active is not None else "")
    return next((c for name in wanted for c in charts if c.character == name), charts[0])


def work_out(scene: Any) -> bool:
    """Charts one more figure of the scene's last check; False where none is left."""
    checked = session.of(scene)
    if checked is None or checked.shot is None:
        _kept.pop(scene.session_uid, None)
        return False
    kept = _kept.get(scene.session_uid)
    if kept is None or kept[0] is not checked:
        kept = _kept[scene.session_uid] = (checked, [])
    waiting = checked.shot.characters[len(kept[1]) :]
    if not waiting:
        return False
    kept[1].append(Study(checked.shot).of(chart, waiting[0]))
    return len(waiting) > 1


def _tick() -> float | None:
    if session.job is not None:
        return _PAUSE
    more = [work_out(scene) for scene in bpy.data.scenes if settings.state().show_chart]
    redraw.panels()
    redraw.sheets()
    return _PAUSE if any(more) else None


def stop() -> None:
    """Lets go of the timer and of all charts."""
    if bpy.app.timers.is_registered(_tick):
        bpy.app.timers.unregister(_tick)
    _kept.clear()
