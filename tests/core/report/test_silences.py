# SPDX-License-Identifier: GPL-3.0-or-later
"""Each reason is said once, whoever and whatever it silences; nobody and nothing is lost over it."""

from dataclasses import replace

from plumbline.core.note import Result, Skip
from plumbline.core.report.silences import Silence, silences
from plumbline.core.testing.puppet import act

MASSES, CAMERA = "masses are only guessed", "the scene has no camera"


def crowd(*names):
    shot = act({}, [[0.0, 0.0, 0.0]] * 4)
    return replace(shot, characters=tuple(replace(shot.characters[0], name=name) for name in names))


def said(*skipped, shot=None):
    return silences(shot or crowd("Ann", "Ben", "Cal"), Result((), tuple(Skip(*s) for s in skipped), ()))


def test_a_reason_of_several_checks_and_characters_is_said_once():
    skipped = [(check, name, MASSES) for check in ("airborne", "undriven-move") for name in ("Ann", "Ben")]
    assert said(*skipped, ("tangent", "", CAMERA)) == [
        Silence(MASSES, ("Ann", "Ben"), ("airborne", "undriven-move")), Silence(CAMERA, (), ("tangent",))]


def test_whom_it_silences_otherwise_is_told_apart():
    found = said(("airborne", "Ann", MASSES), ("undriven-move", "Ann", MASSES), ("undriven-move", "Ben", MASSES))
    assert found == [Silence(MASSES, ("Ann",), ("airborne", "undriven-move")),
                     Silence(MASSES, ("Ben",), ("undriven-move",))]


def test_what_sampling_could_not_show_has_no_check():
    shot = crowd("Ann", "Ben")
    warned = tuple(replace(c, warnings=("it is hidden",)) for c in shot.characters)
    assert said(shot=replace(shot, characters=warned, remarks=("no ground",))) == [
        Silence("no ground", (), ()), Silence("it is hidden", ("Ann", "Ben"), ())]
