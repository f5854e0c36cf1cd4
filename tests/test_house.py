"""The house rules that a machine can hold: who imports whom, how long a file may be, what the documents mention."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parent.parent
SOURCES = sorted(
    path
    for room in ("firmware_bridge", "logger", "web")
    for path in (REPO / room).rglob("*.py")
    if "build" not in path.parts
)
TESTS = sorted((REPO / "tests").rglob("test_*.py"))

# Room → rooms of the project it may import, besides itself. A file belongs to the longest room its path begins with.
MAY_IMPORT = {
    "firmware_bridge": (),
    "logger.measure": ("firmware_bridge",),
    "logger.session": ("firmware_bridge", "logger.measure"),
    "logger.record": ("firmware_bridge", "logger.measure", "logger.session"),
    "logger.publish": ("firmware_bridge", "logger.measure", "logger.session"),
    "logger": ("firmware_bridge", "logger", "web"),
    "web": ("firmware_bridge", "logger"),
}

# The drivers and the virtual cart never reach into these parts of the bridge from the rooms that compute.
TYPES_ONLY = {"firmware_bridge": ("blocks", "calibration", "clock", "source", "stage_names")}

NOT_AT_RUN_TIME = {
    "scipy",
    "CoolProp",
    "iapws",
    "chemicals",
    "filterpy",
    "hypothesis",
    "pytest",
    "playwright",
    "matplotlib",
}


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(REPO).with_suffix("").parts)


def room_of(module: str) -> str | None:
    rooms = [room for room in MAY_IMPORT if module == room or module.startswith(room + ".")]
    return max(rooms, key=len, default=None)


def imports_of(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write the whole name of the module"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def allowed(importer: str, imported: str) -> bool:
    own, other = room_of(importer), room_of(imported)
    if other is None or other == own:
        return True
    return own == "logger" or any(other == room or other.startswith(room + ".") for room in MAY_IMPORT[own or ""])


def test_the_rule_itself_tells_right_from_wrong():
    assert allowed("logger.session.pipeline", "logger.measure.ticks.Tick")
    assert allowed("logger.daemon", "web.app.make_app")
    assert not allowed("logger.measure.weigher", "logger.session.alerts.Alert")
    assert not allowed("logger.record.store", "logger.publish.feed.Feed")
    assert not allowed("firmware_bridge.board", "logger.measure.ticks")
    assert not allowed("logger.publish.mqtt", "logger.record.store")


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_imports_go_one_way(path):
    wrong = [name for name in imports_of(path) if not allowed(module_of(path), name)]
    assert not wrong, f"{module_of(path)} may not import {', '.join(wrong)}"


@pytest.mark.parametrize("path", [p for p in SOURCES if module_of(p).startswith("logger.")], ids=module_of)
def test_rooms_that_compute_see_only_the_types_of_the_bridge(path):
    if room_of(module_of(path)) == "logger":
        return
    seen = {name.split(".")[1] for name in imports_of(path) if name.startswith("firmware_bridge.")}
    assert seen <= set(TYPES_ONLY["firmware_bridge"])


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_nothing_heavy_at_run_time(path):
    assert not {name.split(".")[0] for name in imports_of(path)} & NOT_AT_RUN_TIME


def test_what_measures_takes_no_clock_and_no_chance():
    for path in (p for p in SOURCES if module_of(p).startswith("logger.measure.")):
        used = {name.split(".")[0] for name in imports_of(path)}
        assert not used & {"time", "random", "threading", "socket", "datetime", "subprocess"}, path


@pytest.mark.parametrize("path", SOURCES + TESTS, ids=module_of)
def test_no_file_grows_past_its_idea(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) < 400


def test_no_function_is_longer_than_a_page():
    long = []
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and (node.end_lineno or 0) - node.lineno > 50:
                long.append(f"{module_of(path)}.{node.name}")
    assert not long


def test_names_of_test_files_are_their_own():
    twice = [name for name, count in Counter(path.name for path in TESTS).items() if count > 1]
    assert not twice, "two test files of one name hide each other"


def test_ruff_finds_nothing():
    ran = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--output-format=concise", "."],
        cwd=REPO,
        text=True,
        capture_output=True,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_every_import_is_declared():
    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [line for lines in project["optional-dependencies"].values() for line in lines]
    declared = {name_of(line) for line in [*project["dependencies"], *extras]}
    for path in SOURCES:
        tops = {name.split(".")[0] for name in imports_of(path)} - {"firmware_bridge", "logger", "web"}
        unknown = {DISTRIBUTION.get(top, top).lower() for top in tops - set(sys.stdlib_module_names)} - declared
        assert not unknown, f"{module_of(path)} imports {unknown}, which pyproject.toml does not name"


DISTRIBUTION = {
    "serial": "pyserial",
    "paho": "paho-mqtt",
    "sqlite_utils": "sqlite-utils",
    "RPi": "rpi-lgpio",
    "google": "protobuf",
    **dict.fromkeys(("werkzeug", "jinja2", "markupsafe"), "flask"),
}


def name_of(requirement: str) -> str:
    return requirement.split(">")[0].split("=")[0].split("<")[0].split("[")[0].strip().lower()


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_documents_name_every_command(document):
    from logger.cli import build_parser

    text = (REPO / document).read_text(encoding="utf-8")
    missing = [name for name in build_parser()[1] if f"tarebook {name}" not in text]
    assert not missing, f"{document} does not mention {', '.join(missing)}"


def test_documents_name_only_commands_that_exist():
    from logger.cli import build_parser

    for document in ("README.md", "DEVELOPERS.md"):
        named = re.findall(r"tarebook ([a-z][a-z-]+)", (REPO / document).read_text(encoding="utf-8"))
        assert set(named) <= set(build_parser()[1]), document
