# SPDX-License-Identifier: GPL-3.0-or-later
"""One check of one scene, in slices: whoever drives it keeps Blender alive meanwhile, and may stop it at any time."""

import time
import traceback
from collections.abc import Generator
from contextlib import ExitStack
from functools import partial
from typing import Any

import bpy

from ..core.catalogue import catalogue, loading
from ..core.report.json_notes import sound
from ..core.runner import needs_of, run
from ..core.steps import within
from ..core.study import Study
from . import kept_aside, preferences, session, settings
from .cards import studio_card
from .review import belts_of, contacts_of
from .sampling import reach
from .sampling.armatures import CannotMeasure
from .sampling.sweep import Request, sweep
from .translation import n_

#: The share of the work that ends with the last frame read; meshes and checks come after.
_READ = 0.9
_SWEEP, _ALL = 0.85, 1.0


class Checking:
    """Drives the sweep and then the checks. Its temporary scene exists between two slices: nothing may push an undo
    step.

    part: 0 to 1. words: what it does now, for people. done: whether it has ended by itself.
    """

    def __init__(self, scene: Any) -> None:
        self.uid = scene.session_uid
        self.scene = scene
        self.part = 0.0
        self.stage, self.frame, self.last = n_("Looking for Characters"), 0, 0
        self.done = False
        self._steps = self._run()

    def slice(self, seconds: float) -> bool:
        """Works for about so long, one frame at least; returns whether there is more to do."""
        until = time.perf_counter() + seconds
        while not self.done:
            try:
                self.part = next(self._steps)
            except StopIteration:
                self.done = True
            if time.perf_counter() >= until:
                break
        return not self.done

    def finish(self) -> None:
        """Works to the end."""
        while self.slice(60.0):
            pass

    def stop(self) -> None:
        """Leaves everything as it was before the check, results of an earlier one too."""
        self._steps.close()
        self.done = True

    def settle(self) -> None:
        """Lets Blender evaluate what the temporary scene has stirred up, so that it is not taken for an edit later.

        Not from a handler of undo or load, where the scene may be going.
        """
        manager = bpy.context.window_manager
        for window in manager.windows if manager is not None else ():
            if window.scene.session_uid == self.uid:
                window.view_layer.update()

    def _run(self) -> Generator[float, None, None]:
        try:
            with ExitStack() as until:
                yield from self._measured(until)
        except CannotMeasure as error:
            session.refuse(self.scene, str(error))
        except Exception as error:  # whatever it is, Blender goes on and the person is told
            traceback.print_exc()
            session.refuse(self.scene, f"Plumbline failed: {type(error).__name__}: {error}".splitlines()[0])
        self.settle()

    def _measured(self, until: ExitStack) -> Generator[float, None, None]:
        yield 0.0
        for _ in loading():
            yield 0.0
        checks = list(catalogue().values())
        yield 0.0
        judged = reach.judged(self.scene, None, None)
        request = Request(
            needs=needs_of(checks),
            fallback=partial(studio_card, preferences.of(bpy.context).card_folder),
            selected=settings.state().check_selected,
        )
        shot = yield from within(sweep(self.scene, request, until), 0.0, _SWEEP, partial(self._tell, judged))
        self.stage, self.frame = n_("Checking"), 0
        study = Study(shot)
        result = yield from within(run(shot, checks, study), _SWEEP, _ALL)
        result = kept_aside.applied(sound(result), self.scene)
        yield _ALL
        belts = belts_of(study, checks)
        yield _ALL
        contacts = yield from within(contacts_of(study, checks), _ALL, _ALL)
        found = session.Checked(shot=shot, result=result, belts=belts, contacts=contacts,
                                checks=tuple(c.name for c in checks))
        for _ in session.keeping(self.scene, found):
            yield _ALL

    def _tell(self, judged: reach.Judged, part: float) -> None:
        """The words for so much of the sweep: frames of the judged range first, then outlines."""
        if part > _READ:
            self.stage, self.frame = n_("Reading Outlines"), 0
            return
        count = judged.last - judged.first + 1
        self.stage, self.last = "Reading", judged.last
        self.frame = judged.first + min(count - 1, int(count * part / _READ))
