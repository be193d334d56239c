# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart as a table of plain lines."""

from collections.abc import Iterator, Sequence
from pathlib import PurePath

from ..body import listed
from ..chart import Chart, Row, spoken
from ..measures.exposure import exposure_word
from ..shot import Shot
from .text import printable

_HEADS = ("part", "exposure", "what", "scene frames", "own frames", "length")


def chart_lines(shot: Shot, charts: Sequence[Chart]) -> list[str]:
    """All of the charts: a head, then of each character a table with one line a move, hold or pose, and what it says of
    the whole: the still tail, and what was not animated."""
    file = printable(PurePath(shot.file).name or shot.name)
    out = [f"{file}: frames {shot.first} to {shot.last} at {shot.fps:.6g} fps, the shot's own count from 1"]
    for chart in charts:
        out += ["", f"{printable(chart.character)}, {exposure_word(chart.step)}"]
        out += _table([_HEADS, *(line for row in chart.rows for line in _lines(chart, row))])
        out += _closing(chart)
    aside = [*shot.remarks, *(f"{c.name}: {why}" for c in shot.characters for why in c.warnings)]
    return out + (["", "besides:", *(f"  {printable(why)}" for why in aside)] if aside else [])


def _lines(chart: Chart, row: Row) -> Iterator[tuple[str, ...]]:
    for k, one in enumerate(row.stretches):
        ends = (one.first, one.last), (chart.own(one.first), chart.own(one.last))
        told = tuple(f"{a} to {b}" if a != b else f"{a}" for a, b in ends)
        yield (spoken(row) if k == 0 else "", exposure_word(row.step) if k == 0 else "", one.kind, *told,
               str(one.frames))


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    """Columns as wide as they must be, the last one, of numbers, to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(_HEADS))]
    out = []
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row[:-1], widths, strict=False)]
        out.append("  ".join([*cells, row[-1].rjust(widths[-1])]))
    return out


def _closing(chart: Chart) -> Iterator[str]:
    if chart.tail and chart.ends:
        yield (f"still tail: {chart.tail} frame{'s' if chart.tail != 1 else ''} after the last move, of the "
               f"{listed(chart.ends)}")
    elif not chart.ends:
        yield "no part moves"
    else:
        yield "still tail: none, the shot ends in a move"
    if chart.still:
        yield f"never turns: {listed(chart.still)}"
    if chart.dead:
        yield f"not animated yet: {listed(chart.dead)}, held for most of the shot while the body carries it"
    if chart.why:
        yield chart.why
