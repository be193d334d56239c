# SPDX-License-Identifier: GPL-3.0-or-later
"""Each check is whole: one file, a test file, a page, every heading filled, a limit with a source."""
import re
from pathlib import Path

import pytest
from plumbline.core.catalogue import UnknownCheck, catalogue, chosen
from plumbline.core.check import HEADINGS, LANES
from plumbline.core.note import Severity
from plumbline.core.pages import pages, sections

HOME = Path(__file__).parents[2]
FILES = sorted(path for path in (HOME / "core" / "checks").glob("*.py") if path.stem != "__init__")
NAMES = [path.stem.replace("_", "-") for path in FILES]


def test_the_catalogue_is_the_folder() -> None:
    assert list(catalogue()) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_has_a_test_file_with_the_laws(name: str) -> None:
    path = HOME / "tests" / "core" / "checks" / f"test_{name.replace('-', '_')}.py"
    assert path.is_file(), f"{name} needs {path.relative_to(HOME)}"
    text = path.read_text("utf-8")
    assert re.search(r"class \w+\(CheckTest\)", text) and f'check = "{name}"' in text, f"{path.name} inherits no laws"


@pytest.mark.parametrize("name", NAMES)
def test_docstring_has_every_heading_filled_and_in_order(name: str) -> None:
    found = sections(catalogue()[name])
    assert tuple(found) == ("", *HEADINGS)
    for heading in HEADINGS:
        words = found[heading]
        assert len(words.split()) >= 3, f"{name}: '{heading}' is empty"
        assert "TODO" not in words, f"{name}: '{heading}' is not written yet"


@pytest.mark.parametrize("name", NAMES)
def test_limit_has_steps_a_unit_and_a_source(name: str) -> None:
    check = catalogue()[name]
    steps = [check.limit.step(severity) for severity in Severity]
    assert steps in (sorted(steps), sorted(steps, reverse=True))
    assert check.limit.unit in ("m", "m/s", "s", "deg", "frames", "px", "1", "g", "BW"), check.limit.unit
    assert len(check.limit.source) > 10
    assert check.lane in LANES


def test_the_pages_are_fresh() -> None:
    folder = HOME / "docs" / "checks"
    written = {path.name: path.read_text("utf-8") for path in folder.glob("*.md")}
    pictures = {path.stem for path in (HOME / "docs" / "pictures").glob("*.png")}
    assert written == pages(pictures), "write the pages again: python3 build.py docs"


def test_the_readme_lists_each_check_with_its_lane_and_whether_it_is_on_trial() -> None:
    readme = (HOME / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| \[([\w-]+)\]\(docs/checks/\1\.md\) \| (\w+) \| (.+) \|$", readme, re.MULTILINE)
    told = {name: (lane, seen.endswith("(on trial)")) for name, lane, seen in rows}
    assert told == {name: (check.lane, check.trial) for name, check in catalogue().items()}


def test_an_unknown_name_gets_a_sentence() -> None:
    with pytest.raises(UnknownCheck, match='there is no check "moonwalk"'):
        chosen(["moonwalk"])
