# SPDX-License-Identifier: GPL-3.0-or-later
"""The notes as plain lines for a terminal or a farm's log. Names come from other people's files: what could steer a
terminal is shown, never sent."""

import inspect
import os
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import PurePath

from ..amounts import frames
from ..body import PARTS, spoken
from ..check import Check
from ..note import Note, Result, Severity
from ..shot import Shot
from .silences import silences

_BOLD, _FAINT, _PLAIN = "\x1b[1m", "\x1b[2m", "\x1b[0m"


def printable(text: str) -> str:
    r"""The text with everything that is not ink or a space shown as an escape: '\x1b', '\u202e', '\n'."""
    return "".join(
        c if c.isprintable() or unicodedata.category(c) == "Zs" else c.encode("unicode_escape").decode() for c in text
    )


def wants_style(environment: Mapping[str, str], terminal: bool) -> bool:
    """Whether to use bold and faint: NO_COLOR forbids, FORCE_COLOR asks, otherwise only on a terminal that can."""
    if environment.get("NO_COLOR"):
        return False
    if environment.get("FORCE_COLOR"):
        return True
    return terminal and environment.get("TERM") != "dumb"


def counts(notes: Sequence[Note]) -> str:
    """'2 high, 1 medium', 'no notes'; those on trial or set aside are counted apart, since they decide nothing."""
    live = [n for n in notes if not n.trial and n.set_aside is None]
    words = [f"{k} {s.value}" for s in reversed(Severity) if (k := sum(n.severity is s for n in live))]
    for word, k in (
        ("on trial", sum(n.trial for n in notes)),
        ("set aside", sum(n.set_aside is not None for n in notes)),
    ):
        if k:
            words.append(f"{k} {word}")
    return ", ".join(words) or "no notes"


def note_lines(note: Note, style: bool = False) -> list[str]:
    """One note: severity, frames and who; the sentence; the remedy."""
    word = f"{note.severity.value:<6}"
    if style:
        word = {Severity.HIGH: _BOLD, Severity.LOW: _FAINT}.get(note.severity, "") + word + _PLAIN
    when = frames(note.start, note.end) + (f", worst {note.worst}" if note.start != note.end else "")
    part = spoken(note.part) if note.part in PARTS else note.part
    who = ", ".join(printable(w) for w in (note.character, part) if w)
    state = " (on trial)" if note.trial else ""
    if note.set_aside is not None:
        state += f" (set aside: {printable(note.set_aside)})"
    lines = [f"{word}  {when}  {who}  [{note.check}]{state}", f"        {printable(note.text)}"]
    if note.remedy is not None:
        lines.append(f"        {printable(note.remedy.sentence())}")
    return lines


def lines(shot: Shot, result: Result, style: bool = False) -> list[str]:
    """All of a run: its head, the notes in time, what was not judged, what failed, and the count."""
    file = printable(PurePath(shot.file).name or shot.name)
    people = ", ".join(printable(c.name) for c in shot.characters) or "nobody"
    out = [f"{file}: frames {shot.first} to {shot.last} at {shot.fps:.6g} fps, {people}"]
    for note in result.notes:
        out += note_lines(note, style)
    aside = silences(shot, result)
    if aside:
        out.append("not judged:")
    for silence in aside:
        whom = (", ".join(names) for names in (silence.checks, silence.characters))
        out.append("  " + ": ".join(printable(w) for w in (*whom, silence.why) if w))
    if result.failed:
        out.append("failed:")
        out += ["  " + ": ".join(printable(w) for w in (f.check, f.character, f.error) if w) for f in result.failed]
    out.append(counts(result.notes))
    return out


def page(check: Check) -> str:
    """What ``explain`` prints: the check's docstring and its limits."""
    limit = check.limit
    steps = ", ".join(f"{s.value} {limit.step(s):.6g}" for s in Severity)
    unit = "" if limit.unit == "1" else f" {limit.unit}"
    trial = "\nOn trial: shown, but never decides the exit code" if check.trial else ""
    return (
        f"{check.name} ({check.lane})\n\n{inspect.cleandoc(type(check).__doc__ or '')}\n\n"
        f"Steps: {steps}{unit}\nSource: {limit.source}{trial}\n"
    )


def style_here(terminal: bool) -> bool:
    """``wants_style`` by this process's environment."""
    return wants_style(os.environ, terminal)
