# SPDX-License-Identifier: GPL-3.0-or-later
"""Clips to plant in, reviewed by all checks: each worked out once for all tests."""

from functools import cache

from plumbline.core.testing import corpus
from plumbline.core.testing.plants import Clean, prepared


@cache
def host(clip: str, kind: str) -> Clean:
    """The clip at 24 frames a second, 'captured' or 'keyed' anew."""
    return prepared(corpus.proxy(clip) if kind == "keyed" else corpus.at_24(clip))
