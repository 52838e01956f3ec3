"""Set Undersong up on a fresh machine, then run it or its tests.

    python3 start.py            set up, then do the main job on the demo band (undersong demo)
    python3 start.py check      set up, then format, lint, types, imports and all tests
    python3 start.py CHART...   set up, then any undersong command (python3 start.py drill --list)

Needs Python 3.11 or newer and a connection to install the packages that `requirements*.txt`
pin by name, version and hash. Everything goes into the folder `.venv` beside this file.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
NEEDED = (3, 11)
BY_THEMSELVES = [
    str(HERE / "tests" / "e2e" / f"test_web_{name}.py")
    for name in ("click", "faults", "freely", "getting_set", "network", "practice")
]
"""They hear the browser's microphone in real time: one after another, on a quiet machine."""

CHECKS = (
    ("format", ["ruff", "format", "--check", "."]),
    ("lint", ["ruff", "check", "."]),
    ("types", ["mypy", "src/undersong", "tests"]),
    ("imports", ["lint-imports"]),
    # One file stays with one worker: what its tests share (a demo pack, a heard take) is made once.
    (
        "tests",
        [
            *("pytest", "-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder", "-q"),
            *(f"--ignore={path}" for path in BY_THEMSELVES),
        ],
    ),
    ("tests in real time", ["pytest", "-q", *BY_THEMSELVES]),
)


def _run(words: list[str], *, quiet: bool = False) -> int:
    out = subprocess.DEVNULL if quiet else None
    return subprocess.run(words, cwd=HERE, stdout=out, check=False).returncode


def _stop(message: str) -> None:
    sys.exit(message)


def _make_venv() -> None:
    if PYTHON.exists():
        return
    print("Making an environment of its own in .venv ...", flush=True)
    if _run([sys.executable, "-m", "venv", str(VENV)]):
        _stop(
            "Python could not make an environment. On Debian or Ubuntu install the package "
            "python3-venv, then run this again."
        )


def _install(requirements: str) -> None:
    """Install once; again only when a list of packages or the package itself has changed."""
    pinned = HERE / requirements
    wanted = hashlib.sha256(pinned.read_bytes() + (HERE / "pyproject.toml").read_bytes())
    stamp = VENV / f"installed-{requirements}"
    if stamp.exists() and stamp.read_text() == wanted.hexdigest():
        return
    print(f"Installing what {requirements} pins (a minute or two the first time) ...", flush=True)
    pip = [str(PYTHON), "-m", "pip", "--disable-pip-version-check", "install", "-q"]
    if _run([*pip, "--require-hashes", "-r", str(pinned)]):
        _stop("The packages could not be installed: see the lines above. Is there a connection?")
    if _run([*pip, "--no-deps", "--no-build-isolation", "-e", str(HERE)]):
        _stop("Undersong itself could not be installed: see the lines above.")
    # Once now, not at the first start, or at every one where Python may keep nothing.
    _run([str(PYTHON), "-m", "compileall", "-q", str(HERE / "src")])
    stamp.write_text(wanted.hexdigest())


def _check() -> int:
    # Tests run side by side: more threads of arithmetic inside each would only be in the way.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    for name, words in CHECKS:
        print(f"== {name}", flush=True)
        code = _run([str(BIN / words[0]), *words[1:]])
        if code:
            print(f"{name} failed.", flush=True)
            return code
    return 0


def main() -> int:
    """Set up what is asked for and run it; returns the exit status."""
    if sys.version_info < NEEDED:
        _stop("Undersong needs Python 3.11 or newer.")
    words = sys.argv[1:] or ["demo"]
    _make_venv()
    if words == ["check"]:
        _install("requirements-dev.txt")
        return _check()
    _install("requirements.txt")
    return _run([str(PYTHON), "-m", "undersong", *words])


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit("Stopped.")
