# SPDX-License-Identifier: GPL-3.0-or-later
"""What is drawn of balance and flight: paths, plumb line, base and points, in one view from the side, as arrays."""
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from plumbline.core.catalogue import catalogue
from plumbline.core.marks import Frame, Mark, evidence_marks
from plumbline.core.note import Note
from plumbline.core.numeric.camera import View
from plumbline.core.runner import finish
from plumbline.core.testing import edit, poises
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.pivot_walk import smooth

SIZE = (960, 540)
#: From the figure's left, 4 m away: its way goes to the left, height goes up, 200 pixels a meter.
SIDE = View(np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]]), np.array([4.0, 0, 0]), 200.0, np.array([480.0, 70.0]),
            np.array(SIZE, float), True)


@cache
def note(check: str) -> Note:
    if check == "airborne":
        shot = jump(24.0, flight=1.5)
    elif check == "hard-landing":
        shot = jump(24.0, speed=2.1, give=2.1 / 48)
    else:
        shot = poises.squat(24.0, deep=0.02)
        t = shot.times
        carry = 0.3 * smooth((t - 1.5) / (0.5 if check == "undriven-move" else 1.6))[:, None] * [0.0, -1.0, -0.1]
        shot = replace(shot, characters=(edit.carry_root(shot.characters[0], carry),))
    (found,) = [n for n in finish(shot, [catalogue()[check]]).notes if n.kind != "push-off"]
    return found


def marks(check: str, frame: int) -> list[Mark]:
    return evidence_marks(note(check), Frame(SIDE, frame, SIZE))


def _one(check: str, frame: int, kind: type, role: str, place: int = 0) -> np.ndarray:
    """The picture's places of one shape of the evidence."""
    shape = [e for e in note(check).evidence if isinstance(e, kind) and e.role == role][place]
    return np.asarray(Frame(SIDE, frame, SIZE).pixels(shape.places))


@pytest.mark.parametrize("check", ("airborne", "hard-landing", "off-balance", "undriven-move"))
def test_every_frame_of_a_note_has_finite_marks_and_no_other(check: str) -> None:
    found = note(check)
    for frame in range(found.start, found.end + 1):
        drawn = marks(check, frame)
        assert drawn, frame
        for mark in drawn:
            assert mark.lines and all(np.isfinite(line).all() and len(line) > 1 for line in mark.lines)
    # a landing begins between two frames, with the one before it
    assert not marks(check, found.start - 2) and not marks(check, found.end + 2)


def test_the_true_parabola_is_dashed_and_over_the_path_that_floats() -> None:
    from plumbline.core.evidence import Polyline

    found = note("airborne")
    true, own = (_one("airborne", found.worst, Polyline, role) for role in ("held_against", "found"))
    middle = len(true) // 2
    # y goes down: at these frames gravity would throw it so much higher
    assert (own - true)[middle, 1] == pytest.approx(200 * found.remedy.rise, abs=4)
    bend = np.diff(true[:, 1], 2)
    assert bend == pytest.approx(200 * 9.81 / 24**2, rel=0.02), "one gravity, frame by frame"
    dashed = [m for m in marks("airborne", found.worst) if len(m.lines) > 10 and m.width < 2.5]
    assert dashed


def test_the_center_of_mass_follows_the_playhead_over_its_plumb_line() -> None:
    from plumbline.core.evidence import Patch, Point, Polyline

    found = note("off-balance")
    center = _one("off-balance", found.start, Point, "found", 0)
    assert len(center) == found.end - found.start + 1
    assert np.ptp(center[:, 0]) > 5, "it goes on while the note lasts"
    plumb = _one("off-balance", found.worst, Polyline, "found", 0)
    assert plumb[0] == pytest.approx(center[found.worst - found.start], abs=1e-3)
    assert plumb[0, 0] == pytest.approx(plumb[1, 0]) and plumb[1, 1] - plumb[0, 1] > 100
    base = _one("off-balance", found.worst, Patch, "held_against")
    ring = _one("off-balance", found.worst, Point, "found", 1)[found.worst - found.start]
    outside = max(base[:, 0].min() - ring[0], ring[0] - base[:, 0].max())
    assert outside > 0.8 * 200 * found.measured, "the pressure point lies beside the base by what is told"
