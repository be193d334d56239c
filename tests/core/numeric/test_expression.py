# SPDX-License-Identifier: GPL-3.0-or-later
"""Arithmetic of drivers, against Python's own on each number."""

import numpy as np
import pytest
from plumbline.core.numeric.expression import NotPlain, worked_out

VALUES = np.array([-1.5, 0.0, 0.25, 1.0, 2.0, 3.0])
HELP = {"clamp": lambda a, low=0.0, high=1.0: min(max(a, low), high)}


@pytest.mark.parametrize(
    "text",
    [
        "var",
        "1 - var",
        "-var * 2 / 4 + .5",
        "var == 2",
        "(var == 1) + (var == 3)",
        "1.0 if var > .5 else 0.0",
        "not var",
        "var > 0 and var < 2 or var == 3",
        "min(var, 1, other)",
        "max(0, var - other)",
        "abs(var)",
        "clamp(var)",
        "clamp(var, -1, 2)",
        "int(var)",
        "+var",
    ],
)
def test_as_python_says(text: str) -> None:
    found = np.broadcast_to(worked_out(text, {"var": VALUES, "other": 0.5}), VALUES.shape)
    np.testing.assert_allclose(found, [float(eval(text, HELP, {"var": v, "other": 0.5})) for v in VALUES.tolist()])
    assert worked_out(text, {"var": 2.0, "other": 0.5}) == float(eval(text, HELP, {"var": 2.0, "other": 0.5}))


@pytest.mark.parametrize(
    "text",
    ["", "var +", "unknown", "var.real", "var[0]", "__import__('os')", "sin(var)", "1 / 0", "'a'", "a < b < c", "f(x)"],
)
def test_whatever_is_more_is_refused(text: str) -> None:
    with pytest.raises(NotPlain):
        worked_out(text, {"var": VALUES, "a": 1, "b": 2, "c": 3})
