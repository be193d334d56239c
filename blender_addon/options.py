# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line's words, read into a Job. Nothing here needs Blender."""

import argparse
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NoReturn

from ..core.card import Card, CardError
from ..core.catalogue import UnknownCheck, chosen
from ..core.report.blend_header import NotABlend, saved_by

#: Fewer frames than this have no speed or acceleration to judge.
LEAST_FRAMES = 4


class BadInput(ValueError):
    """Bad input or usage, with one sentence; exit code 2."""


@dataclass(frozen=True)
class Job:
    """One shot to check, or to chart where ``word`` says so. cards: character -> card, '' for every character. checks:
    None for all."""

    shot: Path
    first: int | None = None
    last: int | None = None
    scene: str | None = None
    characters: tuple[str, ...] = ()
    cards: dict[str, Card] = field(default_factory=dict)
    checks: tuple[str, ...] | None = None
    notes: Path | None = None
    fail_on: str = "high"
    word: str = "check"


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise BadInput(f"{message} (see {self.prog} --help)")


def parser(version: str, program: str = "plumbline") -> argparse.ArgumentParser:
    """The command line: check, chart, explain, --version, --help."""
    top = _Parser(
        prog=program,
        description="Measures the body mechanics of an animated Blender shot and says where, what, how "
        "much and how to mend it",
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=f"plumbline {version}")
    words = top.add_subparsers(dest="word", metavar="COMMAND", required=True, parser_class=_Parser)
    check = words.add_parser(
        "check",
        help="check a shot",
        allow_abbrev=False,
        description="Checks a shot. Scripts in the file stay off, and nothing is written to it.",
        epilog="exit codes: 0 no note at or above --fail-on; 1 such notes; 2 bad input or usage, or a shot that "
        "cannot be measured; 3 Plumbline or Blender failed",
    )
    _of_a_shot(check, "judge")
    check.add_argument("--checks", metavar="a,b", help="only these checks")
    check.add_argument("--json", metavar="FILE", type=Path, help="write the notes file here")
    check.add_argument(
        "--fail-on",
        metavar="low|medium|high|never",
        choices=("low", "medium", "high", "never"),
        default="high",
        help="exit with 1 at notes of this severity or above (default: high)",
    )
    chart = words.add_parser(
        "chart",
        help="print a shot's timing chart: moves, holds and their lengths in frames",
        allow_abbrev=False,
        description="Prints, for each body part, its moves, holds and moving holds in scene frames and in the shot's "
        "own count, with their lengths, and the still tail. Scripts in the file stay off, and nothing is written to "
        "it.",
        epilog="exit codes: 0 printed; 2 bad input or usage, or a shot that cannot be measured; 3 Plumbline or "
        "Blender failed",
    )
    _of_a_shot(chart, "chart")
    explain = words.add_parser("explain", help="tell what a check sees, its limit and its remedy", allow_abbrev=False)
    explain.add_argument("check", metavar="CHECK")
    return top


def _of_a_shot(word: argparse.ArgumentParser, does: str) -> None:
    """What every word takes that opens a shot."""
    word.add_argument("shot", metavar="SHOT.blend", type=Path)
    word.add_argument(
        "--range",
        metavar="A-B",
        help=f"scene frames to {does}, both inside; else the preview range when it is on, else the scene's",
    )
    word.add_argument("--scene", metavar="NAME", help="the scene; else the one that is active in the file")
    word.add_argument(
        "--character", metavar="NAME", action="append", default=[], help="only this character; may be repeated"
    )
    word.add_argument(
        "--card",
        metavar="[NAME=]FILE",
        action="append",
        default=[],
        help="a character card, for the character NAME or for all; may be repeated",
    )


def joined(argv: Sequence[str]) -> list[str]:
    """The words with ``--range -10-20`` made one word, since argparse would take the value for an option."""
    out: list[str] = []
    for word in argv:
        if out and out[-1] == "--range" and re.match(r"-\d", word):
            out[-1] = f"--range={word}"
        else:
            out.append(word)
    return out


def job_of(options: argparse.Namespace) -> Job:
    """The job that the options of ``check`` or ``chart`` ask for. Raises BadInput with a sentence."""
    first, last = _range(options.range) if options.range is not None else (None, None)
    job = Job(
        shot=_shot(options.shot),
        first=first,
        last=last,
        scene=options.scene,
        characters=tuple(dict.fromkeys(options.character)),
        cards=_cards(options.card),
        word=options.word,
    )
    if job.word == "chart":
        return job
    return replace(
        job,
        checks=_checks(options.checks),
        notes=options.json,
        fail_on=options.fail_on,
    )


def _shot(path: Path) -> Path:
    try:
        if path.is_dir():
            raise BadInput(f"{path} is a folder, not a .blend file")
        saved_by(path)
    except FileNotFoundError:
        raise BadInput(f"there is no file {path}") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {(error.strerror or str(error)).lower()}") from None
    except NotABlend as error:
        raise BadInput(f"{path}: {error}") from None
    except ValueError as error:  # a name with a NUL in it
        raise BadInput(f"{path} is no file name: {error}") from None
    return path


def _range(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"\s*(-?\d{1,7})\s*-\s*(-?\d{1,7})\s*", text)
    if not found:
        raise BadInput(f'the range "{text}" is not two whole frames as in 101-148')
    first, last = int(found[1]), int(found[2])
    if last < first:
        raise BadInput(f"the range {first}-{last} runs backward; write the first frame first")
    if last - first + 1 < LEAST_FRAMES:
        raise BadInput(f"the range {first}-{last} holds {last - first + 1} frames; at least {LEAST_FRAMES} are needed")
    return first, last


def _cards(words: Sequence[str]) -> dict[str, Card]:
    cards: dict[str, Card] = {}
    for word in words:
        name, equals, file = word.partition("=")
        if not equals or Path(word).is_file():
            name, file = "", word
        if name in cards:
            raise BadInput(f"two cards are given for {name or 'every character'}")
        try:
            cards[name] = Card.read(Path(file).read_text("utf-8-sig"))
        except OSError as error:
            raise BadInput(f"the card {file} cannot be read: {(error.strerror or str(error)).lower()}") from None
        except UnicodeDecodeError:
            raise BadInput(f"the card {file} is not UTF-8 text") from None
        except CardError as error:
            raise BadInput(f"{file}: {error}") from None
    return cards


def _checks(text: str | None) -> tuple[str, ...] | None:
    if text is None:
        return None
    names = [word.strip() for word in text.split(",") if word.strip()]
    if not names:
        raise BadInput("--checks names no check")
    return tuple(check.name for check in known(names))


def known(names: list[str]) -> list[Any]:
    """The checks of these names; raises BadInput with a sentence."""
    try:
        return list(chosen(names))
    except UnknownCheck as error:
        raise BadInput(str(error)) from None
