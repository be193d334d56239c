# SPDX-License-Identifier: GPL-3.0-or-later
"""What all tests share. Blender as a Python module may hang or crash when the interpreter shuts down, so a session that
loaded it leaves at once, with pytest's own exit code and after all its lines."""
import os
import sys

import pytest

_ended_with = pytest.StashKey[int]()


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    session.config.stash[_ended_with] = int(exitstatus)


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config: pytest.Config) -> None:
    if "bpy" in sys.modules and _ended_with in config.stash:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(config.stash[_ended_with])
