# SPDX-License-Identifier: GPL-3.0-or-later
"""Progress on a stream: one line that rewrites itself on a terminal, now and then a plain line in a log."""

import time
from collections.abc import Callable
from typing import TextIO

from .text import printable

#: Seconds between two lines: on a terminal, in a log.
TERMINAL_PAUSE, LOG_PAUSE = 0.1, 10.0


class Progress:
    """Says how far a long piece of work is. ``label`` begins each line: the shot's name."""

    def __init__(self, stream: TextIO, label: str, terminal: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream, self._label, self._terminal, self._clock = stream, printable(label), terminal, clock
        self._stage = ""
        self._last = -1e9
        self._width = 0

    def part(self, stage: str, done: float) -> None:
        """Part ``done`` (0 to 1) of the work called ``stage``; the first call of a stage is always shown."""
        now = self._clock()
        if stage == self._stage and now - self._last < (TERMINAL_PAUSE if self._terminal else LOG_PAUSE):
            return
        fresh = stage != self._stage
        self._stage, self._last = stage, now
        line = f"{self._label}: {stage}" + ("" if fresh and not self._terminal else f" {done:4.0%}")
        if self._terminal:
            self._write("\r" + line.ljust(self._width))
            self._width = len(line)
        else:
            self._write(line + "\n")

    def say(self, sentence: str) -> None:
        """A line of its own."""
        self.clear()
        self._write(f"{self._label}: {printable(sentence)}\n")

    def clear(self) -> None:
        """Takes the rewritten line away."""
        if self._terminal and self._width:
            self._write("\r" + " " * self._width + "\r")
            self._width = 0

    def _write(self, text: str) -> None:
        encoding = getattr(self._stream, "encoding", None) or "utf-8"
        self._stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
        self._stream.flush()
