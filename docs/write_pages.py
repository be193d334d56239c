# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes the pages that are made from code: docs/checks, one for each check (pages of checks that are gone go too), and
docs/sample_shots.md."""

import os
from pathlib import Path

from plumbline.core.pages import pages
from plumbline.sample_scenes import keeper_faults

HERE = Path(__file__).parent


def main() -> None:
    folder = HERE / "checks"
    folder.mkdir(exist_ok=True)
    wanted = pages({picture.stem for picture in (HERE / "pictures").glob("*.png")})
    for old in folder.glob("*.md"):
        if old.name not in wanted:
            old.unlink()
    for name, text in wanted.items():
        (folder / name).write_text(text, "utf-8", newline="\n")
    (HERE / "sample_shots.md").write_text(keeper_faults.page(), "utf-8", newline="\n")
    print(f"wrote {len(wanted)} pages to docs/checks, and docs/sample_shots.md", flush=True)


if __name__ == "__main__":
    main()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
