# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the notes file is written: under a temporary name beside its own, renamed only when all is done.

Whoever finds a file of the right name may therefore trust it: a crash, a kill or bad input leaves none.
"""

import os
import re
from pathlib import Path

_OURS = re.compile(rb'\s*\{\s*"schema"\s*:\s*\d')


class CannotWrite(ValueError):
    """A notes path that cannot be used, with a sentence."""


def claim(path: Path) -> Path:
    """Makes sure that the notes file can be written, takes an older one away and returns the temporary name.

    Raises CannotWrite, also where the path holds something that is no notes file: that is never overwritten.
    """
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise CannotWrite(f"{path} is a folder, not a place for a notes file")
    if not target.parent.is_dir():
        raise CannotWrite(f"the notes file cannot be written: there is no folder {path.parent}")
    if target.exists():
        if not target.is_file():
            raise CannotWrite(f"{path} is not a plain file")
        try:
            with target.open("rb") as file:
                start = file.read(64)
        except OSError as error:
            raise CannotWrite(f"the notes file cannot be written: {_reason(error)}") from None
        if start and not _OURS.match(start):
            raise CannotWrite(f"{path} holds something that is no notes file; it is left as it is")
    part = target.with_name(f".{target.name[:200]}.{os.getpid()}.part")
    try:
        part.touch()
        part.unlink()
        target.unlink(missing_ok=True)
    except OSError as error:
        raise CannotWrite(f"the notes file cannot be written: {_reason(error)}") from None
    return part


def finish(part: Path, path: Path) -> None:
    """Gives the temporary file its own name. Raises CannotWrite."""
    try:
        os.replace(part, os.path.realpath(path))
    except OSError as error:
        raise CannotWrite(f"the notes file cannot be written: {_reason(error)}") from None


def write(part: Path, text: str) -> None:
    """Writes the whole text and makes sure that it reached the disk. Raises CannotWrite."""
    try:
        with part.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise CannotWrite(f"the notes file cannot be written: {_reason(error)}") from None


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
