# SPDX-License-Identifier: GPL-3.0-or-later
"""The page of a check in docs/checks: made from its docstring and its limits, so that neither can grow old alone."""
import inspect
import re
import textwrap
from collections.abc import Collection

from .catalogue import catalogue
from .check import HEADINGS, Check
from .note import Severity


def sections(check: Check) -> dict[str, str]:
    """Heading -> the text under it, in the order of the docstring; '' -> the words before the first heading.

    A heading is one of HEADINGS at the start of a line, followed by a colon.
    """
    text = inspect.cleandoc(type(check).__doc__ or "")
    pieces = re.split(rf"^({'|'.join(HEADINGS)}):", text, flags=re.MULTILINE)
    found = {"": pieces[0].strip()}
    for heading, words in zip(pieces[1::2], pieces[2::2]):
        found[heading] = "\n".join(line.strip() for line in words.strip().splitlines())
    return found


def page(check: Check, pictured: bool) -> str:
    """The page in Markdown: what the docstring says, the table of limits with their source, and a picture of a note
    where there is one."""
    found = sections(check)
    steps = " | ".join(f"{check.limit.step(severity):g}" for severity in Severity)
    unit = "ratio" if check.limit.unit == "1" else check.limit.unit
    trial = "\nOn trial: shown, but it never decides the exit code.\n" if check.trial else ""
    body = "".join("\n" + _filled(f"**{heading}.** {found[heading]}") for heading in HEADINGS if heading in found)
    return (f"# {check.name}\n\nLane: {check.lane}\n{trial}\n{_filled(found[''])}{body}\n"
            f"| unit | low | medium | high |\n| --- | --- | --- | --- |\n| {unit} | {steps} |\n\n"
            f"Source of the limit: {check.limit.source}\n"
            + (f"\n![A note of {check.name}, on the keeper's faulty take](../pictures/{check.name}.png)\n"
               if pictured else ""))


def _filled(text: str) -> str:
    """The words in lines of at most 120, however the docstring breaks them."""
    return textwrap.fill(text, 120, break_long_words=False, break_on_hyphens=False) + "\n"


def pages(pictures: Collection[str]) -> dict[str, str]:
    """File name -> page, for every check of the catalogue; pictures: the names of the checks that have one."""
    return {f"{name}.md": page(check, name in pictures) for name, check in catalogue().items()}
