"""A Debian for arm64 in a folder, as on the Pi's card, whose Python runs here under emulation.

Packages are unpacked and never configured: that spares minutes of emulation, and Python does not miss it.
Wheels are chosen for arm64 and unpacked from outside. The emulator is put in the root and called by name, so that
nothing is mounted and nothing registered with the kernel. It plays the Pi 4's processor: those that sign their pointers
are emulated nine times slower.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from packaged import fetch

MIRROR = "http://deb.debian.org/debian"
CHROOT = shutil.which("chroot", path="/usr/sbin:/usr/bin:/sbin:/bin")
EMULATOR = "qemu-aarch64-static"
PROCESSOR = "cortex-a72"
PYTHON = {"bookworm": "3.11", "trixie": "3.13"}
OLDEST_GLIBC, NEWEST_GLIBC = 17, 36  # minor versions of 2.x for which wheels are named; Debian 12 has 2.36


class Arm64Root:
    """The root of a Debian suite under `folder`."""

    def __init__(self, folder: Path, suite: str):
        self.folder, self.suite = folder, suite

    def make(self) -> None:
        """Fetch and unpack the suite's Python. Skips the test, with debootstrap's own words, where that cannot be."""
        command = ["debootstrap", "--arch=arm64", "--download-only", "--variant=minbase", "--include=python3"]
        made = subprocess.run([*command, self.suite, self.folder, MIRROR], capture_output=True, text=True, check=False)
        if made.returncode != 0:
            last = (made.stdout + made.stderr).strip().splitlines()[-1:]
            pytest.skip(f"debootstrap makes no root here: {''.join(last)}")
        for package in sorted((self.folder / "var/cache/apt/archives").glob("*.deb")):
            subprocess.run(["dpkg-deb", "-x", package, self.folder], check=True)
            package.unlink()
        shutil.copy(shutil.which(EMULATOR), self.folder / "usr/bin")

    def install(self, requirement: str, constraints: Path) -> None:
        """Unpack a distribution and all it needs, as wheels of that Python for arm64."""
        number = PYTHON[self.suite].replace(".", "")
        command = [sys.executable, "-m", "pip", "install", "-q", "--disable-pip-version-check", "--no-compile"]
        for minor in range(OLDEST_GLIBC, NEWEST_GLIBC + 1):
            command += ["--platform", f"manylinux_2_{minor}_aarch64"]
        command += ["--platform", "manylinux2014_aarch64", "--python-version", number, "--implementation", "cp"]
        command += ["--abi", f"cp{number}", "--abi", "abi3", "--abi", "none", "--only-binary=:all:"]
        fetch([*command, "-c", constraints, "--target", self.folder / "site", requirement])

    def python(self, *arguments: str) -> str:
        """What that Python says on standard output; it must end well."""
        command = [CHROOT, self.folder, f"/usr/bin/{EMULATOR}", "-cpu", PROCESSOR, "/usr/bin/python3", *arguments]
        environment = {"PATH": "/usr/bin:/bin", "HOME": "/root", "PYTHONPATH": "/site", "LANG": "C.UTF-8"}
        ran = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
        assert ran.returncode == 0, ran.stderr[-2000:]
        return ran.stdout

    def take(self, file: Path) -> str:
        """Copy a file into the root; its path there."""
        shutil.copy(file, self.folder / file.name)
        return f"/{file.name}"

    def remove(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)
