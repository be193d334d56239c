# SPDX-License-Identifier: GPL-3.0-or-later
"""The colors of marks: told apart by ordinary sight and under three deficiencies, and seen against Blender's themes.

Deficiencies are simulated and distances taken by ``colorspacious`` 1.1.2: Machado, Oliveira and Fernandes 2009 at
severity 100, CAM02-UCS. Contrast is WCAG 2.2's relative luminance (3 : 1 for marks, 4.5 : 1 for text).
"""

from itertools import combinations

import colorspacious
import numpy as np
import pytest
from plumbline.core.check import LANES
from plumbline.core.palette import KEY, LANE_COLORS, PAPER, PLATE_IN_VIEW

#: Blender's own backgrounds, sRGB, read from the themes of 5.2: viewport, timeline and panel, dark and light.
DARK = ["3d3d3d", "303030", "2d2d2d"]
LIGHT = ["646464", "6b6b6b", "cccccc"]


def rgb(word):
    return np.array([int(word[k : k + 2], 16) for k in (0, 2, 4)]) / 255


def luminance(color):
    color = np.asarray(color, float)
    linear = np.where(color <= 0.04045, color / 12.92, ((color + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def over(color, alpha, background):
    return alpha * np.asarray(color) + (1 - alpha) * np.asarray(background)


def over_in_light(color, alpha, background):
    """The same where a 3D view mixes them in linear light."""

    def linear(some):
        some = np.asarray(some, float)
        return np.where(some <= 0.04045, some / 12.92, ((some + 0.055) / 1.055) ** 2.4)

    mixed = alpha * linear(color) + (1 - alpha) * linear(background)
    return np.where(mixed <= 0.0031308, 12.92 * mixed, 1.055 * mixed ** (1 / 2.4) - 0.055)


def smallest_distance(deficiency):
    colors = np.array(list(LANE_COLORS.values()))
    if deficiency is not None:
        space = {"name": "sRGB1+CVD", "cvd_type": deficiency, "severity": 100}
        colors = np.clip(colorspacious.cspace_convert(colors, space, "sRGB1"), 0, 1)
    return min(colorspacious.deltaE(a, b, input_space="sRGB1") for a, b in combinations(colors, 2))


@pytest.mark.parametrize(
    ("deficiency", "least"), [(None, 20.0), ("deuteranomaly", 13.0), ("protanomaly", 13.0), ("tritanomaly", 13.0)]
)
def test_the_eight_lanes_are_told_apart(deficiency, least):
    assert smallest_distance(deficiency) > least


def test_in_gray_the_letter_tells_the_lanes_apart():
    assert len(set(LANES.values())) == len(LANES) == 8


@pytest.mark.parametrize("background", DARK + LIGHT)
def test_a_mark_with_its_keyline_or_plate_stands_out(background):
    behind = rgb(background)
    for lane in LANE_COLORS.values():
        edge = over(KEY, 0.95, behind)
        assert max(contrast(lane, behind), contrast(edge, behind)) >= 3.0
        assert contrast(lane, edge) >= 3.0, "the fill against its own keyline"


@pytest.mark.parametrize("background", [DARK[1], LIGHT[1]])
def test_the_dimmest_bar_stands_out_on_the_plate_of_the_timeline(background):
    plate = over(KEY, 0.80, rgb(background))
    assert min(contrast(np.array(lane) * 0.86, plate) for lane in LANE_COLORS.values()) >= 3.0


@pytest.mark.parametrize("background", [*DARK, *LIGHT, "ffffff", "000000"])
def test_words_on_a_plate_are_read_over_anything(background):
    plate = over(KEY, 0.80, rgb(background))
    assert contrast(PAPER, plate) >= 4.5
    assert contrast(over(PAPER, 0.80, plate), plate) >= 4.5, "the second line too"


@pytest.mark.parametrize("background", [*DARK, *LIGHT, "ffffff", "000000"])
def test_words_on_the_views_plate_are_read_over_anything(background):
    plate = over_in_light(KEY, PLATE_IN_VIEW, rgb(background))
    assert contrast(PAPER, plate) >= 4.5
    assert contrast(over_in_light(PAPER, 0.80, plate), plate) >= 4.5, "the second line too"


def test_the_letter_on_a_chip_is_read():
    assert min(contrast(KEY, lane) for lane in LANE_COLORS.values()) >= 4.5
