# SPDX-License-Identifier: GPL-3.0-or-later
"""Drives a real Blender: in its window, by scripts beside this one, and on its command line, with the zip as people
install it.

    python tests/window/run.py [drive looks scene themes editors characters manners remedies stranger rigger crowd
                                 strain stop commands]

All by default. Blender is the one in PLUMBLINE_BLENDER, else the one on the PATH; PLUMBLINE_BACKEND, opengl or vulkan,
chooses how it draws; PLUMBLINE_HANDKEYED is a folder with hand-keyed characters for ``characters``; nobody's own
settings are read or written. Without a display an Xvfb is started where there is one. What shows the face (panel-,
marks-, evidence-, card-) goes to docs/pictures when its script has passed.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

HOME = Path(__file__).parents[2]
WORK = HOME / "dist" / "window"
SECONDS = 900
#: What of the screen is kept, for ImageMagick: the 3D view and the sidebar; of a look the sidebar alone.
SEEN, BAR = "780x920+530+20", "292x960+1018+20"


#: Bytes that a picture of the docs may have.
LARGEST = 150_000
#: Beginnings of the names of pictures that docs show.
SHOWN = ("panel-", "marks-", "evidence-", "card-")


def grab(picture: Path, part: str) -> None:
    """A part of the screen, by ImageMagick: Blender's own picture is black on some screens. part: its geometry and
    size in percent, or "all" for the whole screen as it is, to measure on."""
    tool = shutil.which("import")
    if tool:
        place, _, size = part.partition(" ")
        place = place or (BAR if picture.name.startswith("look-") else SEEN)
        words: list[str] = []
        if part != "all":
            few = "128" if size and size != "100%" else "256"  # made smaller, a picture has more shades than need be
            words = ["-crop", place, "+repage", "-resize", size or "100%", "-depth", "8", "+dither", "-colors", few]
            words += ["-define", "png:compression-level=9"]
        subprocess.run([tool, "-window", "root", *words, str(picture)], check=False)


def build(heavy: bool, modules: tuple[str, ...]) -> Path:
    """The zip and the shots, new; returns the keeper's. heavy: the heavy shot too, which takes longer; modules:
    those that build the shots of one part."""
    shutil.rmtree(WORK, ignore_errors=True)
    WORK.mkdir(parents=True)
    subprocess.run([sys.executable, HOME / "build.py", "zip", "--to", WORK], check=True)
    script = Path(__file__).with_name("shots.py")
    for more in ((), ("heavy",)) if heavy else ((),):
        subprocess.run([sys.executable, script, WORK, *more], check=True, stdout=subprocess.DEVNULL)
    for module in modules:
        words = [sys.executable, "-m", f"tests.window.{module}", WORK]
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL, cwd=HOME)
    return WORK / "keeper.blend"


def user(name: str) -> dict[str, str]:
    """An environment in which Blender has settings of its own, empty at first."""
    folder = WORK / f"user-{name}"
    folder.mkdir(exist_ok=True)
    return {**os.environ, "BLENDER_USER_RESOURCES": str(folder)}


def in_window(blender: str, name: str, shot: Path) -> bool:
    """Runs one script in a window, takes the pictures that it asks for, prints what it says; whether it was done."""
    screen = [] if os.environ.get("DISPLAY") or sys.platform != "linux" else shutil.which("xvfb-run")
    if screen is None:
        print("there is no display to open a window on: set DISPLAY or install xvfb")
        return False
    words = [blender, "--factory-startup", "--enable-event-simulate", "--window-geometry", "0", "0", "1600", "1000"]
    if backend := os.environ.get("PLUMBLINE_BACKEND"):
        words += ["--gpu-backend", backend]
    words += ["--python", str(Path(__file__).with_name(f"{name}.py")), "--"]
    words += [str(next(WORK.glob("*.zip"))), str(shot), str(WORK)]
    if screen:
        words = [screen, "-a", "-s", "-screen 0 1600x1000x24", *words]
    said: list[str] = []
    path = WORK / f"{name}.txt"
    with path.open("w", encoding="utf-8") as log:
        process = subprocess.Popen(words, env=user(name), stdout=log, stderr=subprocess.STDOUT)
        until = time.monotonic() + SECONDS
        while process.poll() is None:
            for want in WORK.glob("*.want"):
                grab(want.with_suffix(".png"), want.read_text("ascii"))
                want.unlink()
            time.sleep(0.05)
            if time.monotonic() > until:
                process.kill()
                print(f"the window did not end within {SECONDS} seconds")
    told = path.read_text("utf-8", "replace")
    said = [line[5:] for line in told.splitlines() if line.startswith("SAID ")]
    print("\n".join(said))
    if "\nTraceback" in told:  # of a handler or a panel: Blender goes on
        print(told[told.index("\nTraceback") :][:1500])
        said.append("an exception in Blender")
    if not said or said[-1] != "done":
        print(f"{name} failed; see {path}")
        return False
    return True


def scripted(name: str) -> Callable[[str, Path], bool]:
    """A part that a script in the window does."""

    def part(blender: str, shot: Path) -> bool:
        done = in_window(blender, name, shot)
        for picture in sorted(WORK.glob("*.png")) if done else ():
            if picture.name.startswith(SHOWN):
                print(f"docs/pictures/{picture.name}: {picture.stat().st_size // 1000} KB")
                if picture.stat().st_size > LARGEST:
                    print(f"that is more than {LARGEST // 1000} KB, so it stays where it was taken")
                    done = False
                    continue
                picture.replace(HOME / "docs" / "pictures" / picture.name)
        return done

    return part


def commands(blender: str, shot: Path) -> bool:
    """``blender --command plumbline``, installed by Blender's own command: its exit codes and its notes file."""
    environment, notes = user("commands"), WORK / "keeper.notes.json"

    def run(*words: str) -> tuple[int, str]:
        done = subprocess.run(
            [blender, "--command", *words], env=environment, capture_output=True, text=True, timeout=SECONDS
        )
        return done.returncode, done.stdout + done.stderr

    code, told = run("extension", "install-file", "-r", "user_default", "-e", str(next(WORK.glob("*.zip"))))
    if code != 0:
        print(f"Blender's command did not install the zip: {told}")
        return False
    good = True
    for expected, words in (
        (1, ["check", str(shot)]),  # a pop and a flight are high
        (0, ["check", str(shot), "--checks", "slip"]),  # a slip is medium
        (1, ["check", str(shot), "--fail-on", "medium", "--json", str(notes)]),
        (2, ["check", str(WORK / "nothing.blend")]),
        (2, ["check", str(shot), "--checks", "no-such-check"]),
        (0, ["explain", "slip"]),
    ):
        code, told = run("plumbline", *words)
        shown = " ".join(Path(w).name if w.startswith("/") else w for w in words)
        last = next((line for line in reversed(told.splitlines()) if line.strip()), "")
        print(f"blender --command plumbline {shown}: {code}   {last}")
        if code != expected:
            print(f"expected {expected}; it said:\n{told}")
            good = False
    if '"complete": true' not in notes.read_text("utf-8").replace('":true', '": true'):
        print("the notes file is not complete")
        good = False
    return good


IN_WINDOW = (
    "drive", "looks", "scene", "themes", "editors", "characters", "manners", "remedies", "stranger", "rigger", "crowd",
    "strain", "stop",
)
#: The module that builds the shots of a part.
BUILDS = {"remedies": "remedy_shots", "characters": "character_shots"}
PARTS: dict[str, Callable[[str, Path], bool]] = {name: scripted(name) for name in IN_WINDOW} | {"commands": commands}


def main(words: list[str]) -> int:
    blender = os.environ.get("PLUMBLINE_BLENDER") or shutil.which("blender")
    if blender is None:
        print("no Blender binary was found: put blender on the PATH or name it in PLUMBLINE_BLENDER")
        return 2
    unknown = [word for word in words if word not in PARTS]
    if unknown:
        print(f"there is no part {', '.join(unknown)}; the parts are {', '.join(PARTS)}")
        return 2
    asked = words or list(PARTS)
    shot = build("stop" in asked, tuple(module for part, module in BUILDS.items() if part in asked))
    done = [PARTS[name](blender, shot) for name in asked]  # each, whatever became of the one before
    return 0 if all(done) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
