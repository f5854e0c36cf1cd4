"""Libraries with their hashes: every one that the program asks for, in the version with which everything was tried."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

REPO = Path(__file__).resolve().parents[2]
PI = REPO / "hardware" / "pi" / "requirements.txt"
DESK = REPO / ".ci" / "requirements.txt"
EXTRAS = {PI: ("name", "sparkplug", "pi"), DESK: ("name", "sparkplug", "demo", "parquet")}
PLACES = [
    {"python_full_version": python, "python_version": python[:4], "platform_machine": machine, "sys_platform": "linux"}
    for python in ("3.11.2", "3.13.5")
    for machine in ("aarch64", "x86_64")
]
DIGEST = re.compile(r"--hash=sha256:[0-9a-f]{64}")


def locked(file: Path) -> list[tuple[Requirement, int]]:
    """Each requirement with how many files of it are known by their hash."""
    text = "\n".join(line for line in file.read_text("utf-8").splitlines() if not line.lstrip().startswith("#"))
    entries = text.replace("\\\n", " ").splitlines()
    return [(Requirement(entry.partition(" --hash")[0]), len(DIGEST.findall(entry))) for entry in entries if entry]


def asked_for(file: Path) -> list[Requirement]:
    document = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))
    project, extras = document["project"], document["project"]["optional-dependencies"]
    lines = [*project["dependencies"], *document["build-system"]["requires"]]
    return [Requirement(line) for line in (*lines, *(line for name in EXTRAS[file] for line in extras[name]))]


@pytest.mark.parametrize("file", EXTRAS, ids=["pi", "desk"])
def test_every_library_is_pinned_and_known_by_its_hash(file):
    entries = locked(file)
    assert len(entries) > 20
    for requirement, hashes in entries:
        assert [each.operator for each in requirement.specifier] == ["=="], requirement
        assert hashes >= 1, f"{requirement} has no hash"


@pytest.mark.parametrize("place", PLACES, ids=lambda place: f"{place['python_version']} {place['platform_machine']}")
@pytest.mark.parametrize("file", EXTRAS, ids=["pi", "desk"])
def test_what_the_project_asks_for_is_there_wherever_it_runs(file, place):
    here = [
        requirement for requirement, _ in locked(file) if not requirement.marker or requirement.marker.evaluate(place)
    ]
    pinned = {canonicalize_name(each.name): str(each.specifier).removeprefix("==") for each in here}
    assert len(pinned) == len(here), "one version of each"
    for wanted in asked_for(file):
        if canonicalize_name(wanted.name) in ("rpi-lgpio", "lgpio") and place not in PLACES[:1]:
            continue  # a Pi's own pins; Python 3.13 has the distribution's package
        assert wanted.specifier.contains(pinned[canonicalize_name(wanted.name)]), wanted


@pytest.mark.parametrize("file", EXTRAS, ids=["pi", "desk"])
def test_the_versions_are_those_it_was_tried_with(file):
    text = (REPO / ".ci" / "constraints.txt").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    tried = {canonicalize_name(name): number for name, _, number in (line.partition("==") for line in lines)}
    for requirement, _ in locked(file):
        name = canonicalize_name(requirement.name)
        assert name not in tried or str(requirement.specifier) == f"=={tried[name]}", requirement
        assert name in tried or name in ("pip", "setuptools"), f"{requirement} was never tried"
