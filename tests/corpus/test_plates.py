# SPDX-License-Identifier: GPL-3.0-or-later
"""The script that lays motion beside force plates, on a person whose plates are known by closed form."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.mass import masses_of
from plumbline.core.shot import GRAVITY, SOLE_POINTS

from .plate_data import Foot, Load, Trial
from .plates import RATES, read, table_of

Array = np.ndarray
#: Joints of the right side: forward, aside, up.
STANDING = {"hip": (0, 0.09, 0.92), "knee": (0.03, 0.09, 0.5), "ankle": (0, 0.09, 0.08), "shoulder": (0, 0.18, 1.43),
            "elbow": (-0.02, 0.2, 1.15), "wrist": (0.05, 0.2, 0.9)}
MARKERS = {"heel": (-0.06, 0, 0.03), "outer": (0.12, 0.04, 0.03), "inner": (0.12, -0.04, 0.03)}
SOLE = {"heel": (-0.06, 0), "heel_inner": (-0.06, 0.03), "heel_outer": (-0.06, -0.03), "ball": (0.12, 0),
        "ball_inner": (0.12, 0.045), "ball_outer": (0.12, -0.045), "toe_tip": (0.2, 0)}
SWAY, PACE = 0.04, 2 * np.pi * 0.4


def swaying() -> Trial:
    """A stiff person gliding to and fro at one height, markers at 100 Hz and plates at 1000 Hz, facing +x."""
    times, fine = np.arange(0, 4, 0.01), np.arange(0, 4, 0.001)
    ahead = np.array([1.0, 0, 0])

    def gliding(place: tuple[float, float, float]) -> Array:
        return np.asarray(place) + np.outer(SWAY * np.cos(PACE * times), ahead)

    joints = {"thorax": gliding((0, 0, 1.45)), "head": gliding((0, 0, 1.75))}
    places, feet = {}, {}
    for s, sign in (("R", -1), ("L", 1)):
        joints |= {f"{n}.{s}": gliding((x, sign * y, z)) for n, (x, y, z) in STANDING.items()}
        places |= {f"{n}.{s}": gliding((x, sign * (0.09 + y), z)) for n, (x, y, z) in MARKERS.items()}
        template = np.array([(x, sign * y, z) for x, y, z in MARKERS.values()])
        sole = np.array([(x, sign * y, 0.0) for x, y in (SOLE[p] for p in SOLE_POINTS)])
        feet[s] = Foot(tuple(f"{n}.{s}" for n in MARKERS), template, np.array([0, 0, 0.08]), sole, "", np.zeros(3))
    force = np.tile([0, 0, 70 * GRAVITY], (1, len(fine), 1)).astype(float)
    load = Load("both", 0, None, None, False, False)
    trial = Trial("quiet sway", times, places, joints, feet, fine, force, np.zeros((1, len(fine), 3)), 70.0, (load,))
    still = trial.sampled(100.0)[0].characters[0]
    found = masses_of(still)
    x, y, height = (found.centers(still)[..., 0] * found.mass).sum(1) / found.total - SWAY * ahead
    where = np.outer(SWAY * np.cos(PACE * fine) * (1 + height * PACE**2 / GRAVITY), ahead) + [x, y, 0]
    return replace(trial, plate_point=where[None])


@pytest.mark.parametrize("fps", RATES)
def test_a_known_sway_is_read(fps):
    trial = swaying()
    along, across, load = read(trial, fps).rms()
    assert along < 0.001 and across < 1e-4 and load < 0.001


def test_wrong_plates_are_told():
    """Plates moved by 3 cm to the side and 5 % too light; the facing is that of one who goes nowhere."""
    trial = swaying()
    wrong = replace(trial, plate_point=trial.plate_point + [0, 0.03, 0], plate_force=trial.plate_force * 0.95)
    along, across, load = read(wrong, 24.0).rms()
    assert along < 0.002 and across == pytest.approx(0.03, abs=0.001) and load == pytest.approx(0.05, abs=0.001)


def test_only_what_the_plates_hold_is_judged():
    """Each foot on its own plate for the first two seconds, and nobody knows what it stands on after that."""
    trial = swaying()
    loads = tuple(Load(s, 0, 0.0, 2.0, True, True) for s in "LR")
    lost = np.where((trial.plate_times < 2.0)[:, None], trial.plate_point, 9.0)
    half = replace(trial, name="half", loads=loads, plate_point=lost)
    found = read(half, 30.0)
    assert 0 < len(found.along) < 0.5 * len(read(trial, 30.0).along)
    assert found.rms()[0] < 0.002
    assert len(table_of([half])) == 2 + len(RATES)
    nowhere = replace(half, loads=())
    assert not len(read(nowhere, 30.0).along)
