# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes docs/checks, a page for each check; pages of checks that are gone go too."""
from pathlib import Path

from plumbline.core.pages import pages

folder = Path(__file__).parent / "checks"
folder.mkdir(exist_ok=True)
wanted = pages()
for old in folder.glob("*.md"):
    if old.name not in wanted:
        old.unlink()
for name, text in wanted.items():
    (folder / name).write_text(text, "utf-8", newline="\n")
print(f"wrote {len(wanted)} pages to docs/checks")
