# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs checks over a shot: what they need, one after the other, none able to stop the rest."""

import traceback
from collections.abc import Generator, Sequence
from dataclasses import replace

from . import body
from .check import Check
from .need import NOTHING, Need
from .note import Failure, Note, Result, Skip
from .precedence import settle
from .repeats import joined
from .shot import Character, Shot
from .steps import finished
from .study import Study


def needs_of(checks: Sequence[Check]) -> Need:
    """All that these checks need read from the scene, and no more."""
    total = NOTHING
    for check in checks:
        total |= check.needs()
    return total


def run(shot: Shot, checks: Sequence[Check], study: Study | None = None) -> Generator[float, None, Result]:
    """Runs the checks; yields the part done, 0 to 1, and returns the Result.

    study: one of this shot, for who wants to ask it afterward for what the checks measured. Close the generator to
    stop. An exception in one check makes a Failure and the rest go on.
    """
    study = study or Study(shot)
    notes: list[Note] = []
    skipped: list[Skip] = []
    failed: list[Failure] = []
    jobs: list[tuple[Check, Character | None]] = [
        (check, character) for check in checks for character in ((None,) if check.per_shot else shot.characters)
    ]
    for done, (check, character) in enumerate(jobs):
        yield done / max(1, len(jobs))
        try:
            reason = _unfit(check, character)
            if reason is not None:
                skipped.append(Skip(check.name, character.name if character else "", reason))
                continue
            if character is not None:
                skipped.extend(_missing(check, character))
                if check.groups and not check.groups_on(character):
                    continue
            for _ in study.getting(check.uses, character):
                yield done / len(jobs)
            why = check.unjudged(study, character) if character is not None else ""
            if why:
                skipped.append(check.skip(character, why))
                continue
            for found in check.run(study, character):
                if isinstance(found, Skip):
                    skipped.append(found)
                else:
                    notes.append(found)
                yield done / len(jobs)
        except Exception as error:  # one failing check never stops the others
            name = character.name if character else ""
            failed.append(
                Failure(check.name, name, f"{type(error).__name__}: {error}".splitlines()[0], traceback.format_exc())
            )
    yield 1.0
    kept = joined(settle(study, [n for n in (_inside(shot, note) for note in notes) if n is not None]), shot.fps)
    kept.sort(key=lambda n: (n.start, n.character, n.check, n.part))
    yield 1.0
    return Result(tuple(kept), tuple(dict.fromkeys(skipped)), tuple(failed))


def finish(shot: Shot, checks: Sequence[Check]) -> Result:
    """The Result of ``run``, for callers that show no progress."""
    return finished(run(shot, checks))


def _unfit(check: Check, character: Character | None) -> str | None:
    if check.metric and character is not None and not character.size_is_known:
        return (
            f"the figure is {character.height:.3g} m tall and its card states no height, "
            "so nothing in meters or seconds can be judged; give the height that it stands for"
        )
    return None


def _missing(check: Check, character: Character) -> list[Skip]:
    out = []
    for group in check.groups:
        lacking = [part for part in group if not character.has(part)]
        if lacking:
            names = ", ".join(body.spoken(part) for part in lacking)
            out.append(
                Skip(
                    check.name,
                    character.name,
                    f"the body map has no {names}, so the {body.spoken(group[-1])} is not judged",
                )
            )
    return out


def _inside(shot: Shot, note: Note) -> Note | None:
    """The note held to the judged range, or None where its worst frame lies in the margin."""
    assert shot.first is not None and shot.last is not None
    if note.end < shot.first or note.start > shot.last or not shot.first <= note.worst <= shot.last:
        return None
    if note.start >= shot.first and note.end <= shot.last:
        return note
    return replace(note, start=max(note.start, shot.first), end=min(note.end, shot.last))
