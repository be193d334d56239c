# SPDX-License-Identifier: GPL-3.0-or-later
"""What the first bytes of a file say about it: whether it is a .blend, and which Blender saved it.

Three spellings, seen in files saved by 4.2.23, 4.5.15 and 5.2.3: 'BLENDER-v402' (12 bytes, to 4.5), 'BLENDER17-01v0502'
(17 bytes, from 5.0), and either inside gzip (to 2.9x) or Zstandard (from 3.0). Python has no Zstandard before 3.14; but
these few bytes never compress, so a Zstandard file carries them as they are within its first 64 bytes.
"""

import gzip
import re
import zlib
from pathlib import Path

Version = tuple[int, int]

_OLD = re.compile(rb"BLENDER[-_][vV](\d)(\d\d)")
_NEW = re.compile(rb"BLENDER\d\d[-_]\d\d[vV](\d\d)(\d\d)")
_GZIP, _ZSTD = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"


class NotABlend(ValueError):
    """A file that is no .blend at all, with a sentence."""


def saved_by(path: Path) -> Version | None:
    """The Blender version (major, minor) that saved the file, or None where a compressed header does not show it.

    Raises NotABlend with a sentence, and OSError where the file cannot be read.
    """
    with path.open("rb") as file:
        start = file.read(128)
    if not start:
        raise NotABlend("the file is empty")
    if start.startswith(_GZIP):
        try:
            with gzip.open(path) as unpacked:
                start = unpacked.read(32)
        except (EOFError, zlib.error, gzip.BadGzipFile):
            raise NotABlend("the file is cut short or damaged: it cannot be unpacked") from None
    elif start.startswith(_ZSTD):
        return _version(start, anywhere=True)
    if not start.startswith(b"BLENDER"):
        raise NotABlend("the file is not a .blend file")
    version = _version(start, anywhere=False)
    if version is None:
        if len(start) < 17:
            raise NotABlend("the file is cut short: it ends inside its own header")
        raise NotABlend("the file begins like a .blend, but its header is in a form that this Plumbline does not know")
    return version


def _version(start: bytes, anywhere: bool) -> Version | None:
    for form in (_NEW, _OLD):
        found = form.search(start) if anywhere else form.match(start)
        if found:
            return int(found[1]), int(found[2])
    return None
