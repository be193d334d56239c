# SPDX-License-Identifier: GPL-3.0-or-later
"""``plumbline check``, ``chart`` and ``explain``, at the command line and as ``blender --command plumbline``.

Exit codes: 0 nothing at or above --fail-on; 1 such notes; 2 bad input or usage, or a shot that cannot be measured; 3
our own failure: a check failed, Blender crashed, anything uncaught. Importing this module needs no Blender.
"""

import contextlib
import os
import signal
import subprocess
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TextIO

from .. import __version__
from ..core.report import notes_file
from ..core.report.chart_table import chart_lines
from ..core.report.progress import Progress
from ..core.report.text import lines, page, printable, style_here
from .options import BadInput, Job, job_of, joined, known, parser

#: A check failed and the notes tell the rest: exit code 3 outside, but with a finished notes file.
FAILED_CHECK = 4

#: How the child process says its code: numbers that no crash, no shell and no failing Python uses.
CHILD_CODES = {0: 40, 1: 41, 2: 42, 3: 43, FAILED_CHECK: 44}


def main(argv: Sequence[str] | None = None) -> int:
    """The ``plumbline`` command. Returns the exit code."""
    return _entry(sys.argv[1:] if argv is None else list(argv), "plumbline", _check_in_child)


def command(argv: Sequence[str]) -> int:
    """``blender --command plumbline ...``: the same, in Blender's own process, since there is no Python to start
    beside it."""
    return _entry(list(argv), "blender --command plumbline", _check_here)


def in_process(words: Sequence[str], part: Path | None) -> int:
    """Checks in this process, which has Blender: prints the notes, writes the notes file's temporary name ``part``.

    Returns 0, 1, 2, 3, or FAILED_CHECK; nothing is raised.
    """
    try:
        job = job_of(parser(__version__).parse_args(joined(words)))
        return _review(job, part)
    except BadInput as error:
        return _fail(2, str(error))
    except notes_file.CannotWrite as error:
        return _fail(2, str(error))
    except BaseException as error:
        return _uncaught(error)


def child_command(part: Path | None, words: Sequence[str]) -> list[str]:
    """The command that starts the child process."""
    return [sys.executable, "-P", "-m", f"{__package__}.child", "-" if part is None else os.fspath(part), *words]


def _entry(argv: list[str], program: str, check: Callable[[Job, Path | None, Sequence[str]], int]) -> int:
    words = joined(argv)
    try:
        options = parser(__version__, program).parse_args(words)
        if options.word == "explain":
            _print(sys.stdout, page(known([options.check])[0]))
            return 0
        job = job_of(options)
        part = None if job.notes is None else notes_file.claim(job.notes)
        try:
            return check(job, part, words)
        finally:
            if part is not None:
                part.unlink(missing_ok=True)
    except (BadInput, notes_file.CannotWrite) as error:
        _take_away(words)
        return _fail(2, str(error))
    except SystemExit as stop:  # argparse: --help, --version
        return stop.code if isinstance(stop.code, int) else 0
    except BaseException as error:
        _take_away(words)
        return _uncaught(error)


def _take_away(words: Sequence[str]) -> None:
    """No older notes file stays where bad words ask for a new one: whoever finds it would take it for today's."""
    if not words or words[0] != "check":
        return
    for k, word in enumerate(words):
        after = words[k + 1] if k + 1 < len(words) else ""
        file = after if word == "--json" else word.removeprefix("--json=") if word.startswith("--json=") else ""
        if file:
            with contextlib.suppress(notes_file.CannotWrite, OSError, ValueError):
                notes_file.claim(Path(file))


def _check_in_child(job: Job, part: Path | None, words: Sequence[str]) -> int:
    code = _run(child_command(part, words))
    said = {number: own for own, number in CHILD_CODES.items()}.get(code)
    if said is None:
        return _fail(3, f"Blender crashed ({_how(code)}) on {job.shot}; no notes file is left")
    return _settle(said, job, part)


def _check_here(job: Job, part: Path | None, words: Sequence[str]) -> int:
    return _settle(_review(job, part), job, part)


def _settle(code: int, job: Job, part: Path | None) -> int:
    """The notes file gets its name where it is finished; the outside exit code."""
    if part is not None and job.notes is not None and code in (0, 1, FAILED_CHECK):
        notes_file.finish(part, job.notes)
    return 3 if code == FAILED_CHECK else code


def _review(job: Job, part: Path | None) -> int:
    from .review import charts, review, write_notes

    progress = Progress(sys.stderr, job.shot.name, sys.stderr.isatty())
    try:
        if job.word == "chart":
            shot, found = charts(job, progress)
            progress.clear()
            _print(sys.stdout, "\n".join(chart_lines(shot, found)) + "\n")
            return 0
        outcome = review(job, progress)
    except ImportError as error:
        if (error.name or "").partition(".")[0] not in ("bpy", ""):
            raise
        return _fail(3, f"Blender cannot be loaded here: {error}")
    finally:
        progress.clear()
    if part is not None:
        write_notes(outcome, part)
    _print(sys.stdout, "\n".join(lines(outcome.shot, outcome.result, style_here(sys.stdout.isatty()))) + "\n")
    for failure in outcome.result.failed:
        _fail(
            3,
            f"the check {failure.check} failed"
            + (f" on {failure.character}" if failure.character else "")
            + f": {failure.error}",
        )
    return FAILED_CHECK if outcome.code == 3 else outcome.code


def _run(words: list[str]) -> int:
    """The child's return code; it is ended with us, also where somebody ends us."""
    with subprocess.Popen(words) as child:

        def stop(number: int, frame: object) -> None:
            raise KeyboardInterrupt

        try:
            old = signal.signal(signal.SIGTERM, stop)
        except ValueError:  # not the main thread
            old = None
        try:
            return child.wait()
        except BaseException:
            child.kill()
            raise
        finally:
            if old is not None:
                signal.signal(signal.SIGTERM, old)


def _how(code: int) -> str:
    try:
        return signal.Signals(-code if code < 0 else code - 128).name
    except ValueError:
        return f"exit code {code & 0xFFFFFFFF:#x}" if code < 0 else f"exit code {code}"


def _fail(code: int, sentence: str) -> int:
    _print(sys.stderr, f"plumbline: {printable(sentence)}\n")
    return code


def _uncaught(error: BaseException) -> int:
    if isinstance(error, KeyboardInterrupt):
        return _fail(3, "stopped; no notes file is left")
    _print(sys.stderr, printable_trace(error))
    return _fail(3, f"Plumbline failed: {type(error).__name__}: {error}".splitlines()[0])


def printable_trace(error: BaseException) -> str:
    """The traceback with its lines kept and everything else that could steer a terminal shown as an escape."""
    return "".join(
        printable(line.rstrip("\n")) + "\n" for text in traceback.format_exception(error) for line in text.splitlines()
    )


def _print(stream: TextIO, text: str) -> None:
    encoding = getattr(stream, "encoding", None) or "utf-8"
    try:
        stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
        stream.flush()
    except BrokenPipeError:  # the reader has seen enough
        pass


if __name__ == "__main__":
    sys.exit(main())
