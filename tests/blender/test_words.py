# SPDX-License-Identifier: GPL-3.0-or-later
"""What panels say of notes and of what was not judged, in few words."""

from types import SimpleNamespace
from typing import Any

import pytest
from plumbline.blender_addon import words
from plumbline.blender_addon.panels.not_checked import silent
from plumbline.blender_addon.panels.wrapped import lines
from plumbline.core.note import Failure, Result, Skip


def note(**said: Any) -> Any:
    return SimpleNamespace(**{"start": 10, "end": 20, "worst": 12, "unit": "m", "measured": 0.05, **said})


@pytest.mark.parametrize(("measured", "unit", "said"), [
    (0.05, "m", "5.0 cm"), (0.85, "m", "85 cm"), (1.204, "m", "1.20 m"), (0.0996, "m", "10 cm"), (1.0, "1", "100 %"),
    (0.058, "1", "5.8 %"), (-12.4, "px", "12 px"), (0.41, "g", "0.41 g"), (12.5, "s", "12.50 s"),
    (146.2, "deg", "146\xb0"),
])
def test_amounts_have_no_more_digits_than_tell_anything(measured: float, unit: str, said: str) -> None:
    assert words.amount(note(measured=measured, unit=unit)) == said


def test_frames_are_called_frames() -> None:
    assert words.when(note()) == "frames 10 to 20, worst 12"
    assert words.when(note(end=10, worst=10)) == "frame 10"


def test_what_was_not_checked_is_said_once_below_it_on_whom_and_by_what() -> None:
    skipped = tuple(Skip(check, who, "masses are only guessed") for who in ("Ann", "Ben")
                    for check in ("airborne", "undriven-move"))
    shot: Any = SimpleNamespace(remarks=("it has no ground",), characters=())
    result = Result((), skipped, (Failure("slip", "Ann", "ValueError: no"),))
    assert silent(SimpleNamespace(shot=shot, result=result)) == [  # type: ignore[arg-type]
        (True, "Slip failed: ValueError: no", "Ann"),
        (False, "It has no ground", ""),
        (False, "Masses are only guessed", "Ann, Ben: airborne, undriven move"),
    ]
    assert silent(None) == []


def test_a_number_stays_on_the_line_of_its_unit_and_no_word_is_lost() -> None:
    text = "The hand moves by up to 2.0 cm (3.5 cm at worst), at 0.38 m/s, 25 % more in 12 frames from frame 5 to 9"
    for width in range(20, 600, 7):
        found = lines(text, width, 1.0)
        assert " ".join(found) == text
        assert not [line for line in found if line.startswith(("cm", "m/s", "%", "frames"))], found
    assert len(lines(text, 100, 1.0)) > len(lines(text, 400, 1.0)) > 1
