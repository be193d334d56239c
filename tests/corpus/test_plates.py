# SPDX-License-Identifier: GPL-3.0-or-later
"""The script that lays motion beside force plates, on a person whose plates are known by closed form."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.mass import masses_of

from .plate_people import Trial, person, smooth
from .plates import RATES, read, table_of

Array = np.ndarray
G = 9.80665
STANDING = {"hip": (0.09, 0, 0.92), "knee": (0.09, 0.03, 0.5), "ankle": (0.09, 0, 0.08), "heel": (0.09, -0.06, 0.03),
            "toe": (0.09, 0.2, 0.02), "shoulder": (0.18, 0, 1.43), "elbow": (0.2, -0.02, 1.15),
            "wrist": (0.2, 0.05, 0.9)}
SWAY, PACE = 0.04, 2 * np.pi * 0.4


def swaying() -> Trial:
    """A stiff person gliding to and fro along y at one height, markers at 100 Hz and plates at 1000 Hz. The person
    faces +y, and its left is at -x."""
    times = np.arange(0, 4, 0.01)
    fine = np.arange(0, 4, 0.001)
    points: dict[str, Array] = {"top": np.tile([0.0, 0.0, 1.75], (len(times), 1))}
    for name, (x, y, z) in STANDING.items():
        for s, sign in (("R", 1), ("L", -1)):
            points[f"{name}.{s}"] = np.tile([sign * x, y, z], (len(times), 1)).astype(float)
    along = np.array([0.0, 1.0, 0.0])
    still = person("still", points)
    found = masses_of(still)
    center = (found.centers(still)[..., 0] * found.mass).sum(1) / found.total
    points = {name: path + np.outer(SWAY * np.cos(PACE * times), along) for name, path in points.items()}
    height = float(center[2])
    where = np.outer(SWAY * np.cos(PACE * fine) * (1 + height * PACE**2 / G), along) + [center[0], center[1], 0]
    force = np.tile([0, 0, 70 * G], (len(fine), 1)).astype(float)
    return Trial("sway", times, points, fine, force, where, np.ones(len(fine), bool), 70.0, 0.0, "a test")


@pytest.mark.parametrize("fps", RATES)
def test_a_known_sway_is_read(fps):
    trial = swaying()
    along, across, load = read(trial, fps).rms()
    assert along < 0.001 and across < 1e-4 and load < 0.001


def test_wrong_plates_are_told():
    """Plates moved by 3 cm to the side and 5 % too light, and the facing is known for one who goes nowhere."""
    trial = swaying()
    wrong = replace(trial, point=trial.point + [0.03, 0, 0], force=trial.force * 0.95)
    along, across, load = read(wrong, 24.0).rms()
    assert along < 0.002 and across == pytest.approx(0.03, abs=0.001) and load == pytest.approx(0.05, abs=0.001)


def test_only_what_the_plates_hold_is_judged():
    trial = swaying()
    first = trial.plate_times < 2.0
    half = replace(trial, whole=first, point=np.where(first[:, None], trial.point, 9.0))
    found = read(half, 30.0)
    assert 0 < len(found.along) < 0.5 * len(read(trial, 30.0).along)
    assert found.rms()[0] < 0.002
    assert len(table_of([half])) == 2 + len(RATES)


def test_paths_are_read_between_samples():
    t = np.arange(0, 1, 0.01)
    path = np.stack([np.sin(3 * t), np.cos(5 * t), t**2], 1)
    at = np.linspace(0.1, 0.9, 77)
    np.testing.assert_allclose(smooth(t, path, at), np.stack([np.sin(3 * at), np.cos(5 * at), at**2], 1), atol=1e-5)
