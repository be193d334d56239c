# SPDX-License-Identifier: GPL-3.0-or-later
"""The process in which one shot is opened and checked: ``python -m plumbline.blender_addon.child PART check ...``.

It is the command line's other half; PART is the temporary name of the notes file, or '-' for none. A process of its
own,
so that a file at which Blender crashes takes only this one along.
"""

import contextlib
import os
import sys
from pathlib import Path

from .cli import CHILD_CODES, in_process


def main() -> None:
    """Never returns: the process ends at once, since Blender's module may hang or crash at Python's own ending."""
    part = None if sys.argv[1] == "-" else Path(sys.argv[1])
    code = in_process(sys.argv[2:], part)
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError):
            stream.flush()
    os._exit(CHILD_CODES[code])


if __name__ == "__main__":
    main()
