# SPDX-License-Identifier: GPL-3.0-or-later
"""Presets for stylised work move limits and never what is measured; notes say which one did, and what it is without."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.card import Card
from plumbline.core.catalogue import catalogue
from plumbline.core.presets import PRESETS, factor
from plumbline.core.runner import finish
from plumbline.core.shot import with_character
from plumbline.core.testing import edit
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.pivot_walk import smooth
from plumbline.core.testing.puppet import act

#: The lanes that presets may touch.
LANES = ("Contacts", "Balance")


def _note(shot, check, preset):
    """The one note of a check on the shot under a preset; None where it is silent."""
    c = shot.characters[0]
    result = finish(with_character(shot, c, replace(c, card=Card(preset=preset))), [catalogue()[check]])
    assert not result.failed, result.failed[0].trace
    assert len(result.notes) < 2
    return result.notes[0] if result.notes else None


def _carried(far):
    shot = act({}, np.zeros((88, 3)), 24.0)
    c = edit.carry_root(shot.characters[0], np.tile([0.0, 0.0, -0.06], (shot.count, 1)))
    along = smooth((shot.times - 1.4) / 0.5)[:, None] * [far, 0.0, 0.0]
    return replace(shot, characters=(edit.carry_root(c, along),))


def test_presets_name_checks_of_their_lanes_and_loosen():
    for moves in PRESETS.values():
        for check, by in moves.items():
            assert catalogue()[check].lane in LANES and by >= 1.0
    assert factor("", "airborne") == factor("grounded", "slip") == factor("bouncy", "slip") == 1.0


CASES = [
    # a flight at 0.44 g: high; 0.62 to the power of 2.5 is 0.30, 0.78 is 0.54
    ("airborne", "bouncy", jump(24.0, flight=1.5), "high", "medium", 0.78**2.5, "0.54 g", "0.78 g"),
    # the figure stops dead from 2.3 m/s
    ("hard-landing", "grounded", jump(24.0, speed=2.3, give=0.04), "high", "medium", 5.2, "5.2 BW", "4 BW"),
    ("hard-landing", "bouncy", jump(24.0, speed=2.3, give=0.04), "high", "low", 6.0, "6 BW", "3 BW"),
]


@pytest.mark.parametrize(("check", "preset", "shot", "before", "after", "limit", "said", "plain"), CASES)
def test_the_number_stays_and_the_limit_is_told(check, preset, shot, before, after, limit, said, plain):
    without, under = _note(shot, check, ""), _note(shot, check, preset)
    assert without.severity == before and under.severity == after
    assert under.measured == without.measured and under.kind == without.kind
    assert abs(under.limit - limit) < 1e-6
    assert f"the limit of {said} is that of the preset {preset}, {plain} without it" in under.text
    assert under.text.startswith(without.text) and f"preset {preset}, of our own making" in under.source
    assert "preset" not in without.text + without.source


def test_what_the_preset_allows_is_silent_and_others_are_as_they_were():
    floats = jump(24.0, flight=1.15)
    assert _note(floats, "airborne", "").severity == "medium" and _note(floats, "airborne", "bouncy") is None
    assert _note(floats, "airborne", "grounded") == _note(floats, "airborne", "")


def test_balance_is_moved_in_legs():
    shot = _carried(0.225)
    leg = shot.characters[0].leg_length
    without, under = _note(shot, "undriven-move", ""), _note(shot, "undriven-move", "grounded")
    assert without.severity == "high" and under.severity == "medium"
    assert under.measured == without.measured and abs(under.limit - 1.3 * 0.15 * leg) < 1e-9
    assert f"{100 * under.limit:.1f} cm is that of the preset grounded" in under.text
