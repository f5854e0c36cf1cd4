"""Wheel and sdist: all the program needs is in them, and an installed one does what the one in the tree does."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tarfile
import time
import tomllib
import urllib.request
import zipfile
from importlib.metadata import version

import pytest
from packaged import REPO, fetch, tracked
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from firmware_bridge.virtual.rollout import rollout
from firmware_bridge.virtual.scenario import random_fill
from logger.measure.marks import Mark
from logger.record.recording import Recording, write_recording
from logger.record.rows import Rows
from logger.replay import replay

ROOMS = ("firmware_bridge/", "logger/", "web/")
ONLY_IN_THE_REPOSITORY = (".ci/", ".gitignore", ".github/")


def test_the_wheel_has_every_file_of_the_program(built):
    inside = set(zipfile.ZipFile(built[0]).namelist())
    assert {name for name in tracked() if name.startswith(ROOMS)} - inside == set()
    assert not [name for name in inside if name.startswith(("tests/", "hardware/"))]


def test_the_sdist_has_everything_but_what_only_a_repository_needs(built):
    with tarfile.open(built[1]) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
    assert {name for name in tracked() if not name.startswith(ONLY_IN_THE_REPOSITORY)} - inside == set()


def test_one_version_everywhere(built):
    project = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["project"]
    newest = re.search(r"^## (\S+)", (REPO / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)[1]
    assert project["version"] == newest == version("tarebook")
    assert {path.name.split("-")[1].removesuffix(".tar.gz") for path in built} == {newest}
    spelled = [name for name in tracked() if name.endswith(".py") and name.startswith(ROOMS)]
    assert not [name for name in spelled if f'"{newest}"' in (REPO / name).read_text("utf-8")]


def test_an_installed_program_judges_as_the_one_in_the_tree(built, tmp_path):
    """Installed beside the test's own libraries; it must not find anything in the tree."""
    place = tmp_path / "installed"
    install = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target", str(place)]
    subprocess.run([*install, str(built[0])], check=True, capture_output=True)
    played = rollout(random_fill(3, "fast_liquid"))
    rows = Rows(played.t_s, played.channel, played.value)
    recording = Recording(played.setup, rows, [Mark(*mark) for mark in played.marks])
    write_recording(recording, tmp_path / "fill.zip")

    def run(*arguments: str) -> str:
        command = [sys.executable, "-m", *arguments]
        environment = {**os.environ, "PYTHONPATH": str(place)}
        ran = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True)
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    assert run("logger.cli", "--help").startswith("usage: tarebook")
    found = json.loads(run("logger.cli", "replay", "--json", str(tmp_path / "fill.zip")))
    assert found == json.loads(json.dumps(replay(recording)))
    script = tmp_path / "where.py"
    script.write_text("import firmware_bridge as f, logger, web\nprint(logger.__file__, web.__file__, f.__file__)")
    where = subprocess.run(
        [sys.executable, str(script)], env={**os.environ, "PYTHONPATH": str(place)}, capture_output=True, text=True
    )
    assert all(path.startswith(str(place)) for path in where.stdout.split()) and where.stdout


@pytest.mark.timeout(600)
def test_pipx_installs_it_and_the_demonstration_runs(built, tmp_path):
    places = {f"PIPX_{name}": str(tmp_path / name) for name in ("HOME", "BIN_DIR", "MAN_DIR")}
    environment = {**os.environ, **places}
    fetch([sys.executable, "-m", "pipx", "install", "--python", sys.executable, f"{built[0]}[demo]"], env=environment)
    command = [tmp_path / "BIN_DIR" / "tarebook", "demo", "--data", tmp_path / "data", "--http", "127.0.0.1:0"]
    environment.pop("PYTHONPATH", None)
    with subprocess.Popen(command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, text=True) as demo:
        try:
            page = next(line.split()[-1] for line in demo.stdout if line.startswith("Page "))
            assert weight_on(page) > HAND_G
        finally:
            demo.terminate()
            demo.communicate(timeout=60)


HAND_G = 100.0
"""More than what an empty platform shows."""


def weight_on(page: str) -> float:
    """What the scale of a cart just started shows, in grams, once something stands on it."""
    for _ in range(600):
        with urllib.request.urlopen(f"{page.rstrip('/')}/api/now", timeout=10) as answer:
            scale = json.load(answer)["channels"].get("scale", {})
        if scale.get("quality") == "good" and scale["value"] > HAND_G:
            return scale["value"]
        time.sleep(0.1)
    return 0.0


def test_the_tried_versions_are_within_what_the_project_asks_for():
    project = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    of_extras = [line for name, lines in extras.items() if name != "test" for line in lines]
    asked = [Requirement(line) for line in [*project["dependencies"], *of_extras]]
    text = (REPO / ".ci" / "constraints.txt").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    tried = {canonicalize_name(name): number for name, _, number in (line.partition("==") for line in lines)}
    for requirement in asked:
        assert requirement.specifier.contains(tried[canonicalize_name(requirement.name)]), requirement
