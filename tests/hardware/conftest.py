"""Builds the firmware, its host harness and the simulator rig once a run, where there are the tools."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from board_rig import Rig

REPO = Path(__file__).resolve().parents[2]
BOARD = REPO / "hardware" / "board"
HERE = Path(__file__).resolve().parent
SANITIZE = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")


def need(tool: str, package: str) -> None:
    if not shutil.which(tool):
        pytest.skip(f"{tool} is not installed (Debian package {package})")


def run(command: list[str | Path]) -> str:
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


class Core:
    """The firmware's portable core behind a pipe: `core("crc16", "313233")` gives its answer."""

    def __init__(self, program: Path):
        self._process = subprocess.Popen([program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def __call__(self, *words: object) -> str:
        self._process.stdin.write(" ".join(map(str, words)) + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        assert answer, "the harness ended: see its complaint on standard error"
        return answer.rstrip("\n").rstrip(" ")

    def close(self) -> None:
        self._process.stdin.close()
        assert self._process.wait(10) == 0


@pytest.fixture(scope="session")
def core(tmp_path_factory: pytest.TempPathFactory):
    need("gcc", "gcc")
    program = tmp_path_factory.mktemp("core") / "harness"
    sources = [*sorted((BOARD / "core").glob("*.c")), HERE / "core" / "harness.c"]
    flags = ["-std=c11", "-O1", "-Wall", "-Wextra", "-Wno-format-truncation", "-Werror", *SANITIZE]
    run(["gcc", *flags, "-I", BOARD / "core", *sources, "-o", program])
    harness = Core(program)
    yield harness
    harness.close()


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The firmware as it is flashed, as ELF."""
    need("avr-gcc", "gcc-avr")
    if not Path("/usr/lib/avr/include/avr/io.h").exists():
        pytest.skip("avr-libc is not installed")
    out = tmp_path_factory.mktemp("firmware")
    run(["make", "-s", "-C", BOARD, f"OUT={out}", "BOARD_NAME=bench-board"])
    return out / "board.elf"


@pytest.fixture(scope="session")
def rig_program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    need("gcc", "gcc")
    if not Path("/usr/include/simavr/sim_avr.h").exists() or not Path("/usr/include/libelf.h").exists():
        pytest.skip("libsimavr-dev or libelf-dev is not installed")
    program = tmp_path_factory.mktemp("rig") / "rig"
    sources = sorted((HERE / "rig").glob("*.c"))
    run(["gcc", "-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror", *sources, "-o", program]
        + ["-lsimavr", "-lelf", "-lutil"])  # fmt: skip
    return program


@pytest.fixture
def rig(rig_program: Path, firmware: Path, tmp_path: Path):
    """A simulated board running the firmware, ended with the test."""
    rig = Rig(rig_program, firmware, tmp_path)
    rig.start()
    yield rig
    rig.stop()
