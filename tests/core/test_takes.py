# SPDX-License-Identifier: GPL-3.0-or-later
"""The same note from take to take, and notes that were set aside: when they stay so, when they come back."""

from dataclasses import replace

import pytest
from plumbline.core.note import Note, Severity
from plumbline.core.takes import STEP, TakesError, compare, put_aside, read, same, set_aside, write

SLIP = Note(
    "slip", "Contacts", "Keeper", "foot.L", 10, 20, 18, Severity.MEDIUM, 0.05, 0.04, "m", "a table", "slips", None, ()
)
FLAT = replace(SLIP, check="overextension", part="shin.L", measured=1.0, limit=4.0, unit="deg", severity=Severity.LOW)


def test_a_note_stays_aside_while_it_is_the_same_and_no_worse():
    kept = [set_aside(SLIP, "  the  deck is wet ")]
    (out,) = put_aside([SLIP], kept)
    assert out.set_aside == "the deck is wet"
    moved = replace(SLIP, start=19, end=40, worst=30, measured=0.045)
    assert put_aside([moved], kept)[0].set_aside is not None


@pytest.mark.parametrize(
    "changes",
    [
        {"start": 21, "end": 30},
        {"part": "foot.R"},
        {"character": "Mate"},
        {"check": "tangent"},
        {"severity": Severity.HIGH},
        {"measured": 0.05 + STEP * 0.04 + 1e-6},
    ],
    ids=lambda c: next(iter(c)),
)
def test_another_or_a_worse_note_comes_back(changes):
    assert put_aside([replace(SLIP, **changes)], [set_aside(SLIP, "wet")])[0].set_aside is None


def test_worse_is_less_where_little_is_bad():
    kept = [set_aside(FLAT, "a march")]
    assert put_aside([replace(FLAT, measured=3.0)], kept)[0].set_aside
    assert put_aside([replace(FLAT, measured=0.1)], kept)[0].set_aside
    assert put_aside([replace(FLAT, measured=-0.1)], kept)[0].set_aside is None


def test_a_note_that_is_no_longer_kept_aside_comes_back():
    aside = put_aside([SLIP], [set_aside(SLIP, "wet")])
    assert put_aside(aside, [])[0].set_aside is None


def test_what_is_kept_reads_back_as_written():
    kept = (set_aside(SLIP, 'wet, "very"'), set_aside(FLAT, "Übung"))
    assert read(write(kept)) == kept


@pytest.mark.parametrize(
    "text",
    [
        None,
        "{",
        "{}",
        "[1]",
        '[{"check": "slip"}]',
        write([set_aside(SLIP, "wet")]).replace('"medium"', '"worst"'),
        write([set_aside(SLIP, "wet")]).replace("10", "true"),
        write([set_aside(SLIP, "wet")]).replace('"wet"', "7"),
    ],
)
def test_what_cannot_be_read_is_said_in_a_sentence(text):
    with pytest.raises(TakesError, match="set aside"):
        read(text)


def test_a_reason_is_asked_for():
    with pytest.raises(TakesError, match="why"):
        set_aside(SLIP, " \n ")


def test_takes_are_compared_by_check_character_part_and_overlap():
    later = replace(SLIP, start=15, end=25)
    elsewhere = replace(SLIP, start=40, end=50)
    changes = compare([SLIP, FLAT], [later, elsewhere])
    assert same(SLIP, later) and not same(SLIP, elsewhere)
    assert (changes.fixed, changes.still, changes.new) == ((FLAT,), (later,), (elsewhere,))
