# SPDX-License-Identifier: GPL-3.0-or-later
"""Low notes on clean clips as tables: which checks whisper, how often, in how many clips, and how far past a limit."""

from collections import defaultdict
from collections.abc import Iterable
from statistics import median
from typing import TYPE_CHECKING

from plumbline.core.note import Note

if TYPE_CHECKING:
    from .tables import Row


def low_table(rows: Iterable["Row"]) -> str:
    """Counts of the clips that limits are chosen on, how far their notes lie beyond the limits, and the counts of the
    clips held back."""
    rows = [r for r in rows if not r.why or r.false]
    choosing = [r for r in rows if not r.subject.held_back]
    return "\n".join(["Clips that limits are chosen on:", "", *_counts(choosing), "", *_sizes(choosing), "",
                      "Clips held back:", "", *_counts([r for r in rows if r.subject.held_back])])


def beyond(note: Note) -> float:
    """How far a note lies past the limit that it tells, as a share of that."""
    return abs(note.measured - note.limit) / abs(note.limit) if note.limit else 0.0


def _counts(rows: list["Row"]) -> list[str]:
    """Of each check the low notes a minute by kind of clip and rate, in brackets the notes and the clips that have
    them."""
    minutes: dict[tuple[str, str], float] = defaultdict(float)
    for r in rows:
        minutes[r.subject.kind, r.subject.rate] += r.minutes
    columns = sorted(minutes)
    found = _by_check(rows)
    everything = [pair for told in found.values() for pair in told]
    lines = ["| check | " + " | ".join(f"{kind}, {rate}" for kind, rate in columns) + " |",
             "|---|" + "---|" * len(columns)]
    for check, told in (*found.items(), ("all", everything)):
        cells = []
        for column in columns:
            here = [r for r, _ in told if (r.subject.kind, r.subject.rate) == column]
            clips = len({r.subject.clip for r in here})
            cells.append(f"{len(here) / minutes[column]:.1f} ({len(here)} in {clips})" if here else "-")
        lines.append(f"| {check} | " + " | ".join(cells) + " |")
    return lines


def _sizes(rows: list["Row"]) -> list[str]:
    lines = ["| check | beyond its limit, median | most | mildest | farthest |", "|---|---|---|---|---|"]
    for check, told in _by_check(rows).items():
        told = sorted(told, key=lambda pair: beyond(pair[1]))
        middle = median(beyond(note) for _, note in told)
        lines.append(f"| {check} | {100 * middle:.0f} % | {100 * beyond(told[-1][1]):.0f} % | {_example(*told[0])} | "
                     f"{_example(*told[-1])} |")
    return lines


def _by_check(rows: list["Row"]) -> dict[str, list[tuple["Row", Note]]]:
    """Low notes with their clips by check, the heaviest check first."""
    found: dict[str, list[tuple[Row, Note]]] = defaultdict(list)
    for r in rows:
        for note in r.low:
            found[note.check].append((r, note))
    return dict(sorted(found.items(), key=lambda item: (-len(item[1]), item[0])))


def _example(row: "Row", note: Note) -> str:
    return (f"{row.subject.clip} at {row.subject.rate}: {', '.join(note.parts)}, frames {note.start} to {note.end}, "
            f"{note.measured:.3g} beside {note.limit:.3g} {note.unit}")
