"""The Pi's two systems under emulation: the wheel installs there, and judges a recording as it does here."""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from arm64_root import EMULATOR, PYTHON, Arm64Root
from packaged import REPO

from firmware_bridge.virtual.rollout import rollout
from firmware_bridge.virtual.scenario import demo_scenario
from logger.measure.marks import Mark
from logger.record.recording import Recording, read_recording, write_recording
from logger.record.rows import Rows
from logger.replay import replay

TOLERANCE = 1e-9  # of the greater of both, or of the unit where that is less
# As hardware/pi/install.sh: no wheel of the GPIO library for Python 3.13, the distribution's own package serves there.
EXTRA = {"bookworm": "[pi,name,sparkplug]", "trixie": "[name,sparkplug]"}

pytestmark = pytest.mark.timeout(900)


def differences(here: object, there: object, where: str = "findings") -> Iterator[str]:
    """Where two findings differ: numbers by more than the tolerance, anything else at all."""
    if isinstance(here, dict) and isinstance(there, dict):
        if here.keys() != there.keys():
            yield f"{where}: keys {sorted(here.keys() ^ there.keys())} on one side only"
        for key in here.keys() & there.keys():
            yield from differences(here[key], there[key], f"{where}.{key}")
    elif isinstance(here, list) and isinstance(there, list):
        if len(here) != len(there):
            yield f"{where}: {len(here)} and {len(there)} entries"
        for number, (one, other) in enumerate(zip(here, there, strict=False)):
            yield from differences(one, other, f"{where}[{number}]")
    elif is_number(here) and is_number(there):
        if not math.isclose(here, there, rel_tol=TOLERANCE, abs_tol=TOLERANCE):
            yield f"{where}: {here!r} and {there!r}"
    elif type(here) is not type(there) or here != there:
        yield f"{where}: {here!r} and {there!r}"


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


@pytest.fixture(scope="module", params=PYTHON)
def root(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, built: tuple[Path, Path]):
    """A root with the program in it, gone after its tests."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("changing the root needs root on Linux")
    for tool, package in (("debootstrap", "debootstrap"), (EMULATOR, "qemu-user-static"), ("dpkg-deb", "dpkg")):
        if not shutil.which(tool):
            pytest.skip(f"{tool} is not installed (Debian package {package})")
    root = Arm64Root(tmp_path_factory.mktemp(request.param) / "root", request.param)
    try:
        root.make()
        root.install(f"{built[0]}{EXTRA[request.param]}", REPO / ".ci" / "constraints.txt")
        yield root
    finally:
        root.remove()


@pytest.fixture(scope="module")
def own_recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's session: recovery, evacuation, hold, charge from three containers, performance."""
    played = rollout(demo_scenario())
    path = tmp_path_factory.mktemp("recording") / "own.zip"
    rows, marks = Rows(played.t_s, played.channel, played.value), [Mark(*mark) for mark in played.marks]
    write_recording(Recording(played.setup, rows, marks), path)
    return path


def judged_alike(root: Arm64Root, recording: Path) -> None:
    here = json.loads(json.dumps(replay(read_recording(recording))))
    there = json.loads(root.python("-m", "logger.cli", "replay", "--json", root.take(recording)))
    assert here["charge"]["delivered_g"] > 0 and here["vacuum_hold"], "there must be something to compare"
    assert list(differences(here, there)) == []


def test_it_is_the_pis_python_and_the_command_speaks(root):
    where = "import platform as p; print(p.machine(), '.'.join(p.python_version_tuple()[:2]))"
    assert root.python("-c", where).split() == ["aarch64", PYTHON[root.suite]]
    assert root.python("-m", "logger.cli", "--help").startswith("usage: tarebook")


def test_the_gpio_library_loads_where_it_is_a_wheel(root):
    if "pi" not in EXTRA[root.suite]:
        pytest.skip("Python 3.13 takes the distribution's own package, which only the Pi's archive has")
    root.python("-c", "import lgpio")


def test_it_judges_its_own_recording_alike(root, own_recording):
    judged_alike(root, own_recording)


def test_it_judges_an_independent_recording_alike(root, recordings):
    judged_alike(root, recordings / "full-session.zip")


def test_the_comparison_sees_what_differs():
    same = {"a": [1.0, None, "x", True], "b": {"c": 3}}
    assert list(differences(same, {"a": [1.0 + 9e-10, None, "x", True], "b": {"c": 3.0}})) == []
    for other in (
        {"a": [1.0 + 2e-9, None, "x", True], "b": {"c": 3}},
        {"a": [1.0, None, "y", True], "b": {"c": 3}},
        {"a": [1.0, 0.0, "x", True], "b": {"c": 3}},
        {"a": [1.0, None, "x", 1], "b": {"c": 3}},
        {"a": [1.0, None, "x"], "b": {"c": 3}},
        {"a": [1.0, None, "x", True], "b": {}},
    ):
        assert len(list(differences(same, other))) == 1
