# SPDX-License-Identifier: GPL-3.0-or-later
"""Each check's limit beside what was published about it; the ends of joint ranges are in checks/test_joint_limit.py.

PUBLISHED holds the numbers as they were read in the sources, typed in here apart from the checks.
"""

import re

import pytest
from plumbline.core.catalogue import catalogue
from plumbline.core.note import COMMON_PRACTICE, Severity
from plumbline.core.pages import sections

NAMES = list(catalogue())
#: An adult's leg, in which slip and linear-span tell their limits, meters.
LEG = 0.85
#: check -> who published it, as the number is printed, its value in the limit's own unit (slip: meters on an adult),
#: and the step that it stands for.
PUBLISHED = {
    "airborne": ("Jorges and others 2018", "13 to 30 %", 1 - 0.13, Severity.LOW),
    "overextension": ("Harrison 2004, ACM TOG 23:569-573", "3 %", 0.03, Severity.MEDIUM),
    "slip": ("Prazak, Hoyet and O'Sullivan 2011", "21 mm", 0.021, Severity.LOW),
}
#: From a check's limit to the numbers in its docstring's Limit.
WRITTEN = {"overextension": 100.0, "dead-stop": 100.0, "linear-span": 1.0 / LEG, "stuck-in-space": 1.0 / LEG,
           "twinned-stop": 100.0, "jitter": 1000.0, "uneven-spacing": 100.0}


@pytest.mark.parametrize("name", NAMES)
def test_a_source_is_named_with_its_number_or_called_common_practice(name: str) -> None:
    source = catalogue()[name].limit.source
    if name in PUBLISHED:
        who, number, _, _ = PUBLISHED[name]
        assert who in source and number in source
    else:
        assert COMMON_PRACTICE in source and not re.search(r"\b(19|20)\d\d\b", source)


@pytest.mark.parametrize("name", PUBLISHED)
def test_the_step_that_stands_for_it_is_what_was_published(name: str) -> None:
    _, _, value, step = PUBLISHED[name]
    ours = catalogue()[name].limit.step(step) * (LEG if name == "slip" else 1.0)
    assert ours == pytest.approx(value, rel=0.05)


@pytest.mark.parametrize("name", PUBLISHED)
def test_tighter_than_published_only_with_a_reason(name: str) -> None:
    limit = catalogue()[name].limit
    _, _, value, _ = PUBLISHED[name]
    scale = LEG if name == "slip" else 1.0
    if limit.low * scale < 0.95 * value:
        assert "half and twice of it" in limit.source


@pytest.mark.parametrize("name", NAMES)
def test_the_page_tells_the_steps_that_the_check_holds(name: str) -> None:
    told = sections(catalogue()[name])["Limit"]
    numbers = {float(n) for n in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", told)}
    for severity in Severity:
        step = catalogue()[name].limit.step(severity) * WRITTEN.get(name, 1.0)
        assert any(abs(step - n) < 1e-9 for n in numbers), f"{name}: {severity} is {step:g}, its page says {told}"
