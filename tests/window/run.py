# SPDX-License-Identifier: GPL-3.0-or-later
"""Drives a real Blender window: installs the zip, opens the sample shot, presses the button, stops, steps, undoes, and
takes the pictures of docs/pictures.

Blender is the one in PLUMBLINE_BLENDER, else the one on the PATH; nobody's own settings are read or written. Without a
display an Xvfb is started where there is one.
"""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

HOME = Path(__file__).parents[2]
WORK = HOME / "dist" / "window"
SECONDS = 400


def grab(picture: Path) -> None:
    """The 3D view and the sidebar of the screen, by ImageMagick: Blender's own picture is black on some screens."""
    tool = shutil.which("import")
    if tool:
        part = ["-crop", "780x920+530+20", "+repage"]
        colors = ["+dither", "-colors", "96"]
        subprocess.run([tool, "-window", "root", *part, *colors, str(picture)], check=False)


def main() -> int:
    blender = os.environ.get("PLUMBLINE_BLENDER") or shutil.which("blender")
    if blender is None:
        print("no Blender binary was found: put blender on the PATH or name it in PLUMBLINE_BLENDER")
        return 2
    screen = [] if os.environ.get("DISPLAY") or sys.platform != "linux" else shutil.which("xvfb-run")
    if screen is None:
        print("there is no display to open a window on: set DISPLAY or install xvfb")
        return 2
    shutil.rmtree(WORK, ignore_errors=True)
    (WORK / "user").mkdir(parents=True)
    subprocess.run([sys.executable, HOME / "build.py", "zip", "--to", WORK], check=True)
    build = (
        "import bpy, os; from plumbline.sample_scenes import keeper_faults;"
        "bpy.ops.wm.read_factory_settings(use_empty=True); keeper_faults.build();"
        f"bpy.ops.wm.save_as_mainfile(filepath={str(WORK / 'keeper.blend')!r}); os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", build], check=True, stdout=subprocess.DEVNULL)
    words = [
        blender,
        "--factory-startup",
        "--enable-event-simulate",
        "--window-geometry",
        "0",
        "0",
        "1600",
        "1000",
        "--python",
        str(Path(__file__).with_name("drive.py")),
        "--",
        str(next(WORK.glob("*.zip"))),
        str(WORK / "keeper.blend"),
        str(WORK),
    ]
    if screen:
        words = [screen, "-a", "-s", "-screen 0 1600x1000x24", *words]
    environment = {**os.environ, "BLENDER_USER_RESOURCES": str(WORK / "user")}
    with (WORK / "log.txt").open("w", encoding="utf-8") as log:
        process = subprocess.Popen(words, env=environment, stdout=log, stderr=subprocess.STDOUT)
        until = time.monotonic() + SECONDS
        while process.poll() is None:
            for want in WORK.glob("*.want"):
                grab(want.with_suffix(".png"))
                want.unlink()
            time.sleep(0.05)
            if time.monotonic() > until:
                process.kill()
                print(f"the window did not end within {SECONDS} seconds")
    said = [
        line[5:] for line in (WORK / "log.txt").read_text("utf-8", "replace").splitlines() if line.startswith("SAID ")
    ]
    print("\n".join(said))
    if not said or said[-1] != "done":
        print(f"the window run failed; see {WORK / 'log.txt'}")
        return 1
    for picture in sorted(WORK.glob("*.png")):
        shutil.copy(picture, HOME / "docs" / "pictures" / picture.name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
