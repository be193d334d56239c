# SPDX-License-Identifier: GPL-3.0-or-later
import io

from plumbline.core.report.progress import Progress


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def test_a_log_gets_plain_lines_and_few():
    stream, clock = io.StringIO(), Clock()
    progress = Progress(stream, "tower.blend", terminal=False, clock=clock)
    for step in range(300):
        clock.now = step * 0.1
        progress.part("reading frames", step / 300)
    progress.part("checking", 0.0)
    assert stream.getvalue().splitlines() == [
        "tower.blend: reading frames",
        "tower.blend: reading frames  33%",
        "tower.blend: reading frames  67%",
        "tower.blend: checking",
    ]


def test_a_terminal_gets_one_line_that_is_taken_away():
    stream, clock = io.StringIO(), Clock()
    progress = Progress(stream, "tower.blend", terminal=True, clock=clock)
    progress.part("reading frames", 0.0)
    clock.now = 0.05
    progress.part("reading frames", 0.2)  # too soon
    clock.now = 0.2
    progress.part("reading frames", 0.4)
    progress.say("several scenes")
    shown = stream.getvalue()
    assert shown.count("\r") == 4
    assert "20%" not in shown
    assert shown.endswith("\r" + " " * len("tower.blend: reading frames  40%") + "\rtower.blend: several scenes\n")


def test_names_are_made_printable():
    stream = io.StringIO()
    Progress(stream, "to\x1b[2Jwer\n", terminal=False).say("he\x07llo")
    assert stream.getvalue() == "to\\x1b[2Jwer\\n: he\\x07llo\n"
