# SPDX-License-Identifier: GPL-3.0-or-later
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.check import HEADINGS, Check
from plumbline.core.note import Failure, Limit, Note, Result, Severity, Skip
from plumbline.core.remedy import Move
from plumbline.core.report.text import counts, lines, page, printable, wants_style
from plumbline.core.testing.puppet import act

NOTE = Note(
    "slip",
    "Contacts",
    "Keeper",
    "foot.L",
    40,
    52,
    46,
    Severity.HIGH,
    0.041,
    0.04,
    "m",
    "a table",
    "Left foot slips 4.1 cm while it stands",
    Move("foot.L", (0.041, 0, 0), (40, 52), toward="back"),
    (),
)


def said(*notes, skipped=(), failed=(), style=False, **more):
    shot = replace(act({}, np.zeros((60, 3))), file="/shots/tower.blend", **more)
    return lines(shot, Result(tuple(notes), tuple(skipped), tuple(failed)), style)


def test_a_note_tells_severity_frames_who_sentence_and_remedy():
    out = said(NOTE)
    assert out[0] == "tower.blend: frames 1 to 60 at 24 fps, Keeper"
    assert out[1] == "high    frames 40 to 52, worst 46  Keeper, left foot  [slip]"
    assert out[2].strip() == NOTE.text
    assert out[3].strip() == NOTE.remedy.sentence()
    assert out[-1] == "1 high"


def test_what_was_not_judged_and_what_failed_is_listed():
    out = said(
        skipped=[Skip("slip", "Keeper", "no feet")],
        failed=[Failure("tangent", "", "ValueError: no")],
        remarks=("no sim",),
    )
    assert "  slip: Keeper: no feet" in out
    assert "  no sim" in out
    assert "  tangent: ValueError: no" in out
    assert out[-1] == "no notes"


def test_trial_and_set_aside_are_counted_apart():
    notes = [
        NOTE,
        replace(NOTE, severity=Severity.LOW),
        replace(NOTE, trial=True),
        replace(NOTE, set_aside="asked for"),
    ]
    assert counts(notes) == "1 high, 1 low, 1 on trial, 1 set aside"
    assert any("(set aside: asked for)" in line for line in said(*notes))


def test_names_cannot_steer_the_terminal():
    name = "Kee\x1b[2Jper\u202e\r\n\x9b1m"
    out = "\n".join(said(replace(NOTE, character=name, text=f"{name} slips"), skipped=[Skip("slip", name, name)]))
    assert not any(ord(c) < 32 and c != "\n" or 0x7F <= ord(c) < 0xA0 or c == "\u202e" for c in out)
    assert r"Kee\x1b[2Jper\u202e\r\n\x9b1m" in out
    assert printable("灯台\u3000守 é") == "灯台\u3000守 é"


@pytest.mark.parametrize(
    ("environment", "terminal", "wanted"),
    [
        ({}, True, True),
        ({}, False, False),
        ({"NO_COLOR": "1"}, True, False),
        ({"NO_COLOR": ""}, True, True),
        ({"FORCE_COLOR": "1"}, False, True),
        ({"NO_COLOR": "1", "FORCE_COLOR": "1"}, True, False),
        ({"TERM": "dumb"}, True, False),
    ],
)
def test_style_is_asked_of_the_environment(environment, terminal, wanted):
    assert wants_style(environment, terminal) is wanted


def test_style_only_where_asked():
    assert "\x1b" not in "".join(said(NOTE))
    assert said(NOTE, style=True)[1].startswith("\x1b[1mhigh")


def test_the_page_shows_docstring_and_steps():
    class Lean(Check):
        """Seen as: the keeper leans

        Measures: how far
        """

        lane = "Balance"
        limit = Limit(1.0, 2.5, 4.0, "deg", "common practice, no source")

    shown = page(Lean())
    assert "(Balance)" in shown
    assert "Seen as: the keeper leans\n\nMeasures: how far" in shown
    assert "Steps: low 1, medium 2.5, high 4 deg" in shown
    assert "Source: common practice, no source" in shown
    assert HEADINGS[0] in shown
