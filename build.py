# SPDX-License-Identifier: GPL-3.0-or-later
"""One word for each chore: python3 build.py WORD [OPTIONS]. Needs Python 3.11 or 3.13 and nothing else.

Environments are made under .env and used again while their stamp fits; what is fetched lies under .cache.
"""
from __future__ import annotations

import ctypes
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import threading
import time
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HOME = Path(__file__).resolve().parent
#: Blender version -> the Python that its pip package is made for.
BLENDERS = {"4.2": "3.11", "4.5": "3.11", "5.2": "3.13"}
#: Python -> the Blender that one chore in one Blender runs in.
FAVORITE = {"3.11": "4.5", "3.13": "5.2"}
#: Blender version -> the numpy that Blender itself comes with, where its pip package would take another: the oldest
#: that core stands on, while Blender 5.2's environment takes the newest.
BUNDLED = {"4.2": ["numpy==1.24.*"]}
HERE = f"{sys.version_info[0]}.{sys.version_info[1]}"

#: Outside references that only ``oracles`` installs; scipy and shapely come with the tests' own.
ORACLES = ["pin==4.1.0", "mujoco-core==4.0.0"]

#: What pip's bpy needs on a bare Debian or Ubuntu: measured on bookworm and trixie.
APT = ("apt-get install --no-install-recommends python3-venv "
       "libxrender1 libxi6 libxfixes3 libxkbcommon0 libsm6 libgl1 libegl1")

_printing = threading.Lock()


class Stop(Exception):
    """Nothing more can be done; the message is one plain sentence for the person at the keyboard."""


def say(text: str) -> None:
    with _printing:
        print(text, flush=True)


def seconds_since(start: float) -> str:
    return f"{time.monotonic() - start:.0f} s"


def work(label: str, command: list[str], **options: object) -> str:
    """Runs a command, says every ten seconds that it still runs, and returns its output.

    The output is shown only where the command fails, which raises Stop.
    """
    start = time.monotonic()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace",
                               cwd=options.pop("cwd", HOME), **options)  # type: ignore[call-overload]
    done = threading.Event()

    def tick() -> None:
        wait = 2.0
        while not done.wait(wait):
            say(f"{label} ... {seconds_since(start)}")
            wait = 10.0
    ticker = threading.Thread(target=tick, daemon=True)
    ticker.start()
    output = process.communicate()[0]
    done.set()
    if process.returncode:
        say(output)
        raise Stop(f"{label}: stopped with exit code {process.returncode}, see the lines above")
    return output


def follow(label: str, command: list[str], cwd: Path = HOME, **settings: str) -> tuple[int, str]:
    """Runs a command with its output shown line by line behind its label; returns exit code and last line. settings:
    environment variables for it."""
    # what one process has compiled serves all others: tests start many
    own = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace",
                               cwd=cwd, env=own | settings)
    last = ""
    assert process.stdout
    for line in process.stdout:
        say(f"[{label}] {line.rstrip()}")
        last = line.strip() or last
    return process.wait(), last


# Pythons and environments

def pythons() -> dict[str, str]:
    """Python version -> a program of that version that can make environments; this very one comes first."""
    wanted = sorted(set(BLENDERS.values()))
    names = [sys.executable]
    for version in wanted:
        names += [str(Path(folder) / f"python{version}") for folder in os.get_exec_path()]
    names += [str(path) for path in sorted(Path.home().glob(".pyenv/versions/*/bin/python"), reverse=True)]
    found: dict[str, str] = {}
    for name in dict.fromkeys(names):
        if len(found) == len(wanted):
            break
        if name != sys.executable and not os.access(name, os.X_OK):
            continue
        asked = subprocess.run([name, "-c", "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"],
                               stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        version = asked.stdout.strip()
        if not asked.returncode and version in wanted:
            found.setdefault(version, name)
    if not found:
        raise Stop("This Python cannot make environments (its venv and ensurepip modules are missing)"
                   + (f"; install them with: {as_root(APT)}" if like_debian() else ""))
    return found


def python_of(name: str) -> str:
    """The Python program inside an environment."""
    folder = HOME / ".env" / name
    return str(folder / "Scripts" / "python.exe") if os.name == "nt" else str(folder / "bin" / "python")


def environment(name: str, python: str, requirements: list[str], extra: str = "test") -> str:
    """Makes or mends the environment ``name`` with these requirements and this repository; returns its Python."""
    import tomllib
    project = tomllib.loads((HOME / "pyproject.toml").read_text("utf-8"))
    recipe = json.dumps([requirements, extra, project["project"], project["tool"]["setuptools"]["package-dir"]])
    stamp, text = HOME / ".env" / name / "stamp", hashlib.sha256(recipe.encode()).hexdigest()
    own = python_of(name)
    if stamp.is_file() and stamp.read_text() == text and answers(own):
        return own
    if not answers(own):
        say(f"{name}: making the environment with {python}")
        work(f"{name}: environment", [python, "-m", "venv", "--clear", str(HOME / ".env" / name)])
    say(f"{name}: installing {', '.join(requirements) or extra}")
    start = time.monotonic()
    # of four thousand modules a few hundred are ever imported: each is compiled when it is
    work(f"{name}: installing", [own, "-m", "pip", "install", "--disable-pip-version-check", "--no-compile",
                                 *requirements, "-e", f".[{extra}]"])
    say(f"{name}: installed in {seconds_since(start)}")
    stamp.write_text(text)
    return own


def answers(python: str) -> bool:
    """Whether this environment's Python is there and starts."""
    return Path(python).exists() and not subprocess.run(
        [python, "-c", "import pip"], stderr=subprocess.DEVNULL).returncode


def blender_environment(version: str, python: str) -> str:
    """The Python of the environment with that Blender; Stop names the system libraries that it lacks."""
    own = environment(f"bpy-{version}", python, [f"bpy=={version}.*", *BUNDLED.get(version, [])])
    tried = subprocess.run([own, "-c", "import bpy, os; os._exit(0)"], stdout=subprocess.PIPE,
                           stderr=subprocess.STDOUT, text=True, errors="replace")
    if tried.returncode:
        raise Stop(what_bpy_lacks(own, tried.stdout))
    return own


def what_bpy_lacks(python: str, error: str) -> str:
    """One sentence: the system libraries that ``import bpy`` misses and the command that installs them."""
    lacking = set(re.findall(r"(lib[\w.+-]+\.so[\w.]*): cannot open shared object", error))
    if not lacking:
        return f"bpy does not start: {error.strip().splitlines()[-1] if error.strip() else 'it ended without a word'}"
    if shutil.which("ldd"):
        wheel = subprocess.run([python, "-c", "import importlib.util as u; print(u.find_spec('bpy').origin)"],
                               stdout=subprocess.PIPE, text=True).stdout.strip()
        listed = subprocess.run(["ldd", wheel], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True).stdout
        lacking |= not_found(listed)
    return f"Blender's Python package needs system libraries that are missing here: {', '.join(sorted(lacking))}; " + (
        f"install them with: {as_root(APT)}" if like_debian() else "install them with the system's package manager")


def not_found(listed: str) -> set[str]:
    """The libraries that a listing of ldd calls not found."""
    return set(re.findall(r"^\s*(\S+) => not found", listed, re.MULTILINE))


def like_debian() -> bool:
    return bool(shutil.which("apt-get"))


def as_root(command: str) -> str:
    return command if getattr(os, "geteuid", lambda: 0)() == 0 else f"sudo {command}"


def warn_without_egl() -> None:
    """Blender aborts at its first picture without libEGL, and nothing can catch that: so say it before."""
    if not sys.platform.startswith("linux"):
        return
    try:
        ctypes.CDLL("libEGL.so.1")
    except OSError:
        say("libEGL.so.1 is missing, so pictures are left out"
            + (f"; install it with: {as_root('apt-get install libegl1')}" if like_debian() else ""))


# What is fetched: captured motion that the package registry carries

CLIPS = HOME / ".cache" / "clips"
#: Beginning of a path inside the package -> folder under CLIPS.
PYBULLET_FILES = {"pybullet_data/data/motions/humanoid3d_": "humanoid3d",
                  "pybullet_data/data/motions/walker/": "walker",
                  "pybullet_data/humanoid/humanoid.urdf": "humanoid3d"}
CLIPS_README = """Captured clips that the package registry carries, fetched by build.py and never committed.
humanoid3d/humanoid3d_*.txt  pybullet 3.2.7, pybullet_data/data/motions: JSON, Y up, meters, quaternions w x y z
humanoid3d/humanoid.urdf     pybullet 3.2.7, pybullet_data/humanoid: bone offsets, times 0.25
walker/*.txt                 pybullet 3.2.7, pybullet_data/data/motions/walker: as humanoid3d
bvh/*.bvh                    bvhtoolbox 0.1.3, tests/example_files
"""


def fetch_clips(python: str) -> None:
    """Fetches the clips once. The packages are only opened: nothing of them is installed, built or run."""
    if (CLIPS / "README.txt").is_file() and (CLIPS / "README.txt").read_text() == CLIPS_README:
        return
    say("clips: fetching pybullet 3.2.7 (98 MB) and bvhtoolbox 0.1.3")
    download = [python, "-m", "pip", "download", "--disable-pip-version-check", "--no-deps"]
    with tempfile.TemporaryDirectory() as folder:
        # any system and Python can read the data, so one wheel is named for all
        work("clips: pybullet", [*download, "--only-binary=:all:", "--python-version=3.11", "--implementation=cp",
                                 "--platform=manylinux2014_x86_64", "-d", folder, "pybullet==3.2.7"])
        work("clips: bvhtoolbox", [*download, "--no-binary=bvhtoolbox", "-d", folder, "bvhtoolbox==0.1.3"])
        with zipfile.ZipFile(next(Path(folder).glob("pybullet-*.whl"))) as wheel:
            for name in wheel.namelist():
                for beginning, place in PYBULLET_FILES.items():
                    if name.startswith(beginning) and not name.endswith("/"):
                        keep(CLIPS / place / Path(name).name, wheel.read(name))
        with tarfile.open(next(Path(folder).glob("bvhtoolbox-*.tar.gz"))) as source:
            for member in source:
                opened = source.extractfile(member) if member.name.endswith(".bvh") else None
                if opened:
                    keep(CLIPS / "bvh" / Path(member.name).name, opened.read())
    keep(CLIPS / "README.txt", CLIPS_README.encode())


def keep(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


# The words

def test(words: list[str]) -> int:
    """Set up and run all tests, for every Blender that a Python is present for (more words go to pytest)."""
    start, have = time.monotonic(), pythons()
    runs = [version for version, python in BLENDERS.items() if python in have]
    untested = [f"Blender {version} needs Python {python}, which is not on this machine"
                for version, python in BLENDERS.items() if python not in have]
    newest = have[max(have, key=lambda version: int(version.split(".")[1]))]
    say(f"Pythons: {', '.join(f'{version} ({path})' for version, path in sorted(have.items()))}")
    warn_without_egl()

    # each Blender's tests in two halves, the longer ones first, so that two at a time end together
    inside, outside = ["tests/blender"], ["--ignore=tests/blender"]
    jobs = [(version, part) for part in ([words] if words else [inside, outside]) for version in runs]
    with ThreadPoolExecutor(2) as fetching, ThreadPoolExecutor(2) as testing:
        # tests begin as soon as their own environment stands, while the others are still fetched
        own = {version: fetching.submit(blender_environment, version, have[BLENDERS[version]]) for version in runs[:1]}
        clips = fetching.submit(fetch_clips, newest)
        own |= {version: fetching.submit(blender_environment, version, have[BLENDERS[version]]) for version in runs[1:]}
        walls = fetching.submit(workshop, have)

        def test_one(job: tuple[str, list[str]]) -> tuple[int, str]:
            version, where = job
            clips.result()
            label = version + (" in Blender" if where is inside else "")
            cache = f"cache_dir=.cache/pytest-{label.replace(' ', '-')}"
            # two run at a time on two cores: threads of the linear algebra would only wait for each other. In Blender
            # they are as they come, since tests there watch that checks leave none spinning
            threads = {"OPENBLAS_NUM_THREADS": "1"} if where is outside else {}
            return follow(label, [own[version].result(), "-m", "pytest", "-o", cache, *where], **threads)

        tested = [testing.submit(test_one, job) for job in jobs]
        try:
            for done in (*own.values(), walls, clips):
                done.result()
        except Stop:
            testing.shutdown(wait=False, cancel_futures=True)
            raise
        say(f"Set up in {seconds_since(start)}; nothing more is fetched")
        judged = testing.submit(lint, [])
    closing = [("walls", judged.result(), "ruff, mypy, import-linter")]
    closing += [(used(own[version].result()) + (", what needs Blender" if where is inside else ""), *job.result())
                for (version, where), job in zip(jobs, tested, strict=True)]
    say(f"\nTested in {seconds_since(start)}, setting up included:")
    for name, code, last in closing:
        say(f"  {'passed' if code == 0 else 'FAILED'}  {name}: {last.strip('= ')}")
    for sentence in untested:
        say(f"  NOT TESTED  {sentence}")
    return int(any(code for _, code, _ in closing))


def used(python: str) -> str:
    """'bpy 4.5.15, Python 3.11.7, numpy 1.26.4' of an environment."""
    asked = ("import importlib.metadata as m, platform; has = {d.name.lower(): d.version for d in m.distributions()};"
             "bpy = has.get('bpy'); print((f'bpy {bpy}, ' if bpy else '')"
             " + f\"Python {platform.python_version()}, numpy {has['numpy']}\")")
    return subprocess.run([python, "-c", asked], stdout=subprocess.PIPE, text=True).stdout.strip()


def workshop(have: dict[str, str]) -> str:
    """The Python of the environment with the tools that read code: on the oldest Python here, which it must fit."""
    return environment("dev", have[min(have, key=lambda version: int(version.split(".")[1]))], [], "dev")


def lint(words: list[str]) -> int:
    """The walls: ruff, mypy, import-linter."""
    python = workshop(pythons())
    stage([])
    own = Path(python).parent
    config = str(HOME / "pyproject.toml")
    codes = [
        follow("ruff", [python, "-m", "ruff", "check", "."])[0],
        follow("mypy", [python, "-m", "mypy"])[0],
        # the contracts name no file, so the linter is run where the package lies
        follow("walls", [str(own / "lint-imports"), config, "--no-cache"], HOME / ".stage")[0],
    ]
    return int(any(codes))


def favorite() -> str:
    """The Python of the environment for chores that need one Blender."""
    return blender_environment(FAVORITE[HERE], pythons()[HERE])


def script(path: str, words: list[str], python: str | None = None) -> int:
    """Runs a script of the repository in an environment; where it is missing, says so before anything is set up."""
    file = present(path)
    return subprocess.call([python or favorite(), file, *words], cwd=HOME)


def present(path: str) -> str:
    if not (HOME / path).is_file():
        raise Stop(f"{path} does not exist yet")
    return str(HOME / path)


def demo(words: list[str]) -> int:
    """Build the sample shots, check them, print the notes, write notes file, marked .blend and pictures."""
    warn_without_egl()
    return script("sample_scenes/demo.py", words)


def corpus(words: list[str]) -> int:
    """Run the checks over real motion and print found, missed and false notes, and the table of rigs ([--more DIR])."""
    present("tests/corpus/run.py")
    python = favorite()
    fetch_clips(python)
    # as a module: it shares its skinned figures with the tests
    code = subprocess.call([python, "-m", "tests.corpus.run", *words], cwd=HOME)
    if {"--only", "--planted", "--page"} & set(words):  # a part of it
        return code
    return script("tests/corpus/rigs.py", [*words, "--write"], python) or code


def bench(words: list[str]) -> int:
    """Measure the speed of a review against a bare sweep, in Blender 4.5 and 5.2."""
    present("benchmarks/bench.py")
    have = pythons()
    codes = [script("benchmarks/bench.py", words, blender_environment(version, have[BLENDERS[version]]))
             for version in ("4.5", "5.2") if BLENDERS[version] in have]
    return int(any(codes))


def oracles(words: list[str]) -> int:
    """Ask the outside references again and write their answers down (more words: only scripts named so)."""
    own = environment("oracles", pythons()[HERE], ORACLES)  # apart: nothing else needs them, and they are large
    return script("tests/oracles/ask.py", words, own)


def window(words: list[str]) -> int:
    """Drive a real Blender window and take its pictures."""
    return script("tests/window/run.py", words)


def docs(words: list[str]) -> int:
    """Write the pages made from code (docs/checks, docs/sample_shots.md) and the pictures of notes."""
    return script("docs/write_pictures.py", words) or script("docs/write_pages.py", words)


def new_check(words: list[str]) -> int:
    """Write the file and the test file of a new check: new-check NAME, as in slip or joint-limit."""
    if len(words) != 1 or not re.fullmatch(r"[a-z][a-z0-9]*([-_][a-z0-9]+)*", words[0]):
        raise Stop("Give one name in small letters, with dashes: python3 build.py new-check joint-limit")
    module = words[0].replace("-", "_")
    filled = {"NAME": module.replace("_", "-"), "MODULE": module, "CLASS": module.title().replace("_", "")}
    pairs = {"check.txt": HOME / "core/checks" / f"{module}.py",
             "test.txt": HOME / "tests/core/checks" / f"test_{module}.py"}
    for path in pairs.values():
        if path.exists():
            raise Stop(f"{path.relative_to(HOME)} exists already")
    for template, path in pairs.items():
        text = (HOME / "docs/new_check" / template).read_text("utf-8")
        keep(path, re.sub(r"\{(NAME|MODULE|CLASS)\}", lambda found: filled[found[1]], text).encode())
        say(f"wrote {path.relative_to(HOME)}")
    say("its tests fail until it measures something; then: python3 build.py docs")
    return 0


def shipped() -> dict[str, Path]:
    """Path inside the extension -> file: what people get. Tests, tools and pages stay here."""
    files = {name: HOME / name for name in ("LICENSE", "README.md")}
    root = HOME / "blender_addon" / "extension-root"
    for folder, inside in ((root, ""), (HOME / "core", "core/"), (HOME / "blender_addon", "blender_addon/")):
        for path in sorted(folder.rglob("*")):
            apart = "__pycache__" in path.parts or (folder != root and root in path.parents) or (
                HOME / "core" / "testing" in path.parents)
            if path.is_file() and not apart:
                files[inside + path.relative_to(folder).as_posix()] = path
    return files


def version() -> str:
    text = (HOME / "blender_addon/extension-root/__init__.py").read_text("utf-8")
    return re.findall(r'^__version__ = "(.+)"$', text, re.MULTILINE)[0]


def make_zip(words: list[str]) -> int:
    """Make the installable extension in dist, or in the folder after --to, and let Blender's own tool judge it."""
    folder = Path(words[words.index("--to") + 1]) if "--to" in words else HOME / "dist"
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"plumbline-{version()}.zip"
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, path in sorted(shipped().items()):
            entry = zipfile.ZipInfo(name)  # the same date for all: the same files give the same zip
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, path.read_bytes(), zipfile.ZIP_DEFLATED)
    tools = sorted((HOME / ".env").glob("bpy-*/**/site-packages/bpy/*/scripts/addons_core/bl_pkg/cli/blender_ext.py"))
    if tools:
        work("validating", [sys.executable, str(tools[-1]), "validate", str(target)])
    say(f"wrote {target}" + ("" if tools else "; not validated, for want of an environment with Blender"))
    return 0


def stage(words: list[str]) -> int:
    """Link the package as .stage/plumbline, for live work and tools that cannot follow the editable install."""
    stage_folder = HOME / ".stage" / "plumbline"
    shutil.rmtree(stage_folder, ignore_errors=True)
    (stage_folder / "blender_addon").mkdir(parents=True)
    root = HOME / "blender_addon" / "extension-root"
    sources = {path: stage_folder / path.name for path in root.iterdir() if path.name != "__pycache__"}
    sources[HOME / "core"] = stage_folder / "core"
    sources.update({path: stage_folder / "blender_addon" / path.name for path in (HOME / "blender_addon").iterdir()
                    if path != root and path.name != "__pycache__"})
    for source, link in sources.items():
        if os.name == "nt":  # links need rights there
            (shutil.copytree if source.is_dir() else shutil.copy)(source, link)
        else:
            link.symlink_to(source, source.is_dir())
    return 0


WORDS = {"test": test, "demo": demo, "zip": make_zip, "stage": stage, "docs": docs, "new-check": new_check,
         "corpus": corpus, "bench": bench, "oracles": oracles, "window": window, "lint": lint}


def main(arguments: list[str]) -> int:
    if HERE not in FAVORITE:
        say(f"Python {HERE} does not serve, since Blender's package is made for others: run this with Python "
            f"{' or '.join(FAVORITE)}")
        return 2
    if not arguments or arguments[0] not in WORDS:
        say("python3 build.py WORD, where WORD is one of\n" + "\n".join(
            f"  {word:10} {(function.__doc__ or '').splitlines()[0]}" for word, function in WORDS.items()))
        return 2 if arguments and arguments[0] not in ("-h", "--help") else 0
    try:
        return WORDS[arguments[0]](arguments[1:])
    except Stop as stop:
        say(str(stop))
        return 2
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
