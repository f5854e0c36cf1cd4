"""The project as it is handed out: what belongs to it, wheel and sdist, and fetching what they need."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parent.parent
UNREACHABLE = r"Failed to establish a new connection|NameResolutionError|Network is unreachable|Read timed out"


def tracked() -> list[str]:
    """Every file that git has, in the tree as it is now."""
    listed = subprocess.run(["git", "ls-files"], cwd=REPO, capture_output=True, text=True)
    if listed.returncode != 0:
        pytest.skip("not a clone: there is no list of what belongs to the project")
    return [name for name in listed.stdout.splitlines() if (REPO / name).exists()]


def build(tree: Path, out: Path) -> tuple[Path, Path]:
    """(wheel, sdist), built in `tree` from what git tracks, without fetching anything."""
    for name in tracked():
        (tree / name).parent.mkdir(parents=True, exist_ok=True)
        (tree / name).write_bytes((REPO / name).read_bytes())
    program = "import setuptools.build_meta as b, sys; out = sys.argv[1]; b.build_sdist(out); b.build_wheel(out)"
    ran = subprocess.run([sys.executable, "-c", program, str(out)], cwd=tree, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr[-2000:]
    return next(out.glob("*.whl")), next(out.glob("*.tar.gz"))


def fetch(command: list[object], **options) -> None:
    """Run what needs a package index; without a network the test is skipped, and says so."""
    ran = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False, **options)
    if ran.returncode != 0 and re.search(UNREACHABLE, ran.stderr):
        pytest.skip("no package index can be reached from here")
    assert ran.returncode == 0, ran.stderr[-2000:]
