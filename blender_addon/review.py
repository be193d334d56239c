# SPDX-License-Identifier: GPL-3.0-or-later
"""One job from a file to a result, inside a process that has Blender."""

import os
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from ..core.catalogue import chosen
from ..core.chart import Chart, chart
from ..core.check import Check
from ..core.measures.belt import belt
from ..core.measures.contact_rows import ContactRow, contact_rows
from ..core.need import Need
from ..core.note import Result, Severity
from ..core.report.blend_header import Version, saved_by
from ..core.report.json_notes import dump, notes_data, sound
from ..core.report.notes_file import write
from ..core.report.progress import Progress
from ..core.runner import needs_of, run
from ..core.shot import Shot
from ..core.steps import finished
from ..core.study import Measure, Study
from . import kept_aside
from .options import BadInput, Job


@dataclass(frozen=True)
class Outcome:
    """What came of a job: the exit code (0, 1, or 3 where a check failed), and what was found."""

    code: int
    shot: Shot
    result: Result
    belts: tuple[tuple[tuple[float, ...], str], ...] = ()
    contacts: tuple[ContactRow, ...] = ()


def review(job: Job, progress: Progress) -> Outcome:
    """Opens the file, measures and checks. Raises BadInput for whatever exit code 2 stands for."""
    progress.part("opening", 0.0)
    checks = chosen(None if job.checks is None else list(job.checks))
    scene, shot = _swept(job, needs_of(checks), progress)
    study = Study(shot)
    result = kept_aside.applied(sound(finished(run(shot, checks, study), partial(progress.part, "checking"))), scene)
    contacts = finished(contacts_of(study, checks))
    progress.clear()
    return Outcome(exit_code(result, job.fail_on), shot, result, belts_of(study, checks), contacts)


def charts(job: Job, progress: Progress) -> tuple[Shot, tuple[Chart, ...]]:
    """Opens the file and charts its characters. Raises BadInput for whatever exit code 2 stands for."""
    progress.part("opening", 0.0)
    _, shot = _swept(job, chart.needs(), progress)
    study = Study(shot)
    return shot, tuple(study.of(chart, character) for character in shot.characters)


def _swept(job: Job, needs: Need, progress: Progress) -> tuple[Any, Shot]:
    """The scene of the file and what was sampled of it."""
    from .sampling.sweep import CannotMeasure, Request, sweep

    complaints = open_shot(job.shot)
    scene, said = the_scene(job.scene)
    request = Request(
        needs=needs, first=job.first, last=job.last, characters=job.characters or None, cards=job.cards
    )
    for sentence in (*complaints, *said):
        progress.say(sentence)
    try:
        shot = finished(sweep(scene, request), partial(progress.part, "reading frames"))
    except CannotMeasure as error:
        raise BadInput(str(error)) from None
    return scene, replace(shot, file=os.fspath(job.shot), remarks=(*said, *shot.remarks))


def write_notes(outcome: Outcome, part: Path) -> None:
    """The finished notes file, under its temporary name. Raises CannotWrite."""
    data = notes_data(outcome.shot, outcome.result, complete=True, belts=outcome.belts, contacts=outcome.contacts)
    write(part, dump(data))


def exit_code(result: Result, fail_on: str) -> int:
    """3 where a check failed, 1 where a note reaches ``fail_on``, else 0; trial and set aside notes decide nothing."""
    if result.failed:
        return 3
    if fail_on == "never":
        return 0
    least = Severity(fail_on).rank
    return int(any(n.severity.rank >= least for n in result.notes if not n.trial and n.set_aside is None))


def open_shot(path: Path) -> tuple[str, ...]:
    """Opens the file with its scripts off; returns what Blender complained of although the file opened.

    Raises BadInput with a sentence.
    """
    import bpy

    own = (bpy.app.version[0], bpy.app.version[1])
    _not_newer(saved_by(path), own)
    before = bpy.data.filepath
    complaint: tuple[str, ...] = ()
    try:
        bpy.ops.wm.open_mainfile(filepath=os.path.abspath(path), load_ui=False, use_scripts=False)
    except RuntimeError as error:
        # a missing library is reported as an error, and an error report raises, though the file is open
        if bpy.data.filepath == before or not _same(bpy.data.filepath, path):
            raise BadInput(f"{path}: {_sentence(str(error))}") from None
        complaint = (_told(str(error)),)
    _not_newer((bpy.data.version[0], bpy.data.version[1]), own)
    return complaint


def the_scene(name: str | None) -> tuple[Any, tuple[str, ...]]:
    """The scene to measure and what is to be said about the choice. Raises BadInput where the name is unknown."""
    import bpy

    names = [scene.name for scene in bpy.data.scenes]
    scene: Any
    if name is not None:
        named = next((s for s in bpy.data.scenes if s.name == name), None)
        if named is None:
            raise BadInput(f'there is no scene "{name}"; the file has {_listed(names)}')
        return named, ()
    scene = bpy.context.scene
    others = [n for n in names if n != scene.name]
    return scene, (f'several scenes: "{scene.name}" is checked, not {_listed(others)}',) if others else ()


def belts_of(study: Study, checks: Sequence[Check]) -> tuple[tuple[tuple[float, ...], str], ...]:
    """Velocity and sentence of the ground that each character's cycle in place runs on, where a check has asked for
    it."""
    if not any(_stands_on(belt, used) for check in checks for used in check.uses):
        return ()
    out = []
    for character in study.shot.characters:
        try:
            found = study.of(belt, character)
        except Exception:
            continue
        if np.any(found.velocity):
            out.append((tuple(float(v) for v in found.velocity), f"{character.name}: {found.sentence}"))
    return tuple(out)


def contacts_of(study: Study, checks: Sequence[Check]) -> Generator[float, None, tuple[ContactRow, ...]]:
    """Contacts of every character, one a step, where what these checks had read from the scene tells them."""
    out: list[ContactRow] = []
    if contact_rows.needs() & ~needs_of(checks):
        return ()
    for done, character in enumerate(study.shot.characters):
        yield done / len(study.shot.characters)
        try:
            out += study.of(contact_rows, character)
        except Exception:  # what cannot be judged has no rows; a check that needs it has failed and said so
            continue
    return tuple(out)


def _stands_on(wanted: Measure, measure: Measure) -> bool:
    return measure is wanted or any(_stands_on(wanted, other) for other in measure.uses)


def _not_newer(saved: Version | None, own: Version) -> None:
    if saved is not None and saved > own:
        raise BadInput(
            f"the file was saved by Blender {saved[0]}.{saved[1]}, newer than this Blender {own[0]}.{own[1]}; "
            f"check it with Blender {saved[0]}.{saved[1]}"
        )


def _same(opened: str, path: Path) -> bool:
    try:
        return os.path.samefile(opened, path)
    except OSError:
        return False


def _told(error: str) -> str:
    lines = [line.strip().removeprefix("Error: ") for line in error.splitlines() if line.strip()]
    return "Blender says: " + "; ".join(lines[:3])


def _sentence(error: str) -> str:
    if "Missing DNA block" in error or "incomplete" in error:
        return "the file is cut short or damaged"
    if "not a blend file" in error or "not supported" in error:
        return "the file is not a .blend file that this Blender can read"
    return f"Blender cannot open the file ({_told(error)})"


def _listed(names: list[str]) -> str:
    shown = ", ".join(f'"{n}"' for n in names[:8])
    return shown + (f" and {len(names) - 8} more" if len(names) > 8 else "")
