"""The Pi's install: tried in a folder with the system's own commands replaced by ones that only note what was asked."""

from __future__ import annotations

import os
import re
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from firmware_bridge.cart import load_cart

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
SCRIPT = HARDWARE / "pi" / "install.sh"
FILES = HARDWARE / "pi" / "files"

HASHED = "tarebook:hashed\nviewer:hashed\ncollector:hashed\n"
NOTE = 'echo "$(basename "$0") $*" >>"$CALLS"\n'
STUBS = {
    "systemctl": '[ "$1 $2" != "restart tarebook" ] || [ ! -e "$BROKEN" ] || { rm "$BROKEN"; exit 1; }\n',
    "apt-get": "",
    "dpkg": "",
    "useradd": "",
    "usermod": "",
    "udevadm": "",
    "chgrp": "",
    "chown": "",
    "getent": "",
    "id": 'case $1 in -u) echo 1000;; *) echo "tarebook dialout i2c gpio";; esac\n',
    "install": (
        'a=(); while [ $# -gt 0 ]; do case $1 in -g|-o) shift;; *) a+=("$1");; esac; shift; done\n'
        '$REAL_INSTALL "${a[@]}"\n'
    ),
    "mosquitto_passwd": 'sed -i "s/:.*/:hashed/" "$2"\n',
    "sqlite3": 'to=${2#*\\\'}; cp "$1" "${to%\\\'}"\n',
    "python3": (
        'case "$*" in *"version_info < (3, 13)"*) exit 1;; *version_info*) $REAL_PYTHON "$@";; '
        '*venv*) d=${!#}; mkdir -p "$d/bin"; printf "#!/bin/sh\\n" >"$d/bin/python"; chmod +x "$d/bin/python";; esac\n'
    ),
}


class Machine:
    """A pretended Pi in a folder, with a checkout whose program text may change."""

    def __init__(self, folder: Path):
        self.root, self.calls, self.broken = folder / "root", folder / "calls", folder / "broken"
        self.repo = folder / "repo"
        shutil.copytree(HARDWARE, self.repo / "hardware", ignore=shutil.ignore_patterns("build"))
        for room in ("firmware_bridge", "logger", "web"):
            (self.repo / room).mkdir()
        (self.repo / "pyproject.toml").write_text("[project]\n")
        self.program("one")
        stubs = folder / "stubs"
        stubs.mkdir()
        for name, body in STUBS.items():
            stub = stubs / name
            stub.write_text(f"#!/bin/bash\n{NOTE}{body}")
            stub.chmod(0o755)
        self._environment = os.environ | {
            "PATH": f"{stubs}:{os.environ['PATH']}",
            "DESTDIR": str(self.root),
            "CALLS": str(self.calls),
            "BROKEN": str(self.broken),
            "REAL_INSTALL": shutil.which("install"),
            "REAL_PYTHON": shutil.which("python3"),
        }

    def program(self, text: str) -> None:
        (self.repo / "logger" / "program.py").write_text(text)

    def install(self, *arguments: str) -> subprocess.CompletedProcess:
        self.calls.write_text("")
        script = self.repo / "hardware" / "pi" / "install.sh"
        return subprocess.run(
            ["bash", script, *arguments], env=self._environment, capture_output=True, text=True, check=False
        )

    def asked(self, *words: str) -> bool:
        return " ".join(words) in self.calls.read_text().splitlines()

    def link(self, name: str) -> str:
        return os.readlink(self.root / "opt" / "tarebook" / name)

    def content(self) -> dict[str, bytes | str]:
        return {
            str(path.relative_to(self.root)): os.readlink(path) if path.is_symlink() else path.read_bytes()
            for path in sorted(self.root.rglob("*"))
            if path.is_symlink() or path.is_file()
        }


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    if shutil.which("bash") is None or shutil.which("sha256sum") is None:
        pytest.skip("bash and coreutils are needed")
    return Machine(tmp_path)


def installed(machine: Machine) -> None:
    done = machine.install()
    assert done.returncode == 0, done.stderr


def test_dry_run_says_everything_and_does_nothing(machine):
    done = machine.install("--dry-run")
    assert done.returncode == 0, done.stderr
    assert not machine.root.exists()
    assert not [line for line in machine.calls.read_text().splitlines() if line.split()[0] in ("systemctl", "apt-get")]
    for piece in ("venv", "systemctl restart tarebook", "60-tarebook.rules", "mqtt-password", "pip install"):
        assert piece in done.stdout


def test_install_puts_everything_in_its_place(machine):
    installed(machine)
    for path, source in (
        ("etc/systemd/system/tarebook.service", FILES / "tarebook.service"),
        ("etc/udev/rules.d/60-tarebook.rules", FILES / "60-tarebook.rules"),
        ("etc/systemd/journald.conf.d/tarebook.conf", FILES / "journald.conf"),
        ("etc/mosquitto/conf.d/tarebook.conf", FILES / "mosquitto.conf"),
        ("etc/tarebook/cart.toml", HARDWARE / "carts" / "board.toml"),
    ):
        assert (machine.root / path).read_bytes() == source.read_bytes()
    assert machine.asked("systemctl", "restart", "tarebook")
    passwords = [machine.root / "etc/tarebook" / f"mqtt-password{name}" for name in ("", "-viewer", "-collector")]
    assert all(len(path.read_text().strip()) == 24 for path in passwords)
    assert len({path.read_text() for path in passwords}) == 3
    assert all(not path.stat().st_mode & stat.S_IRWXO for path in passwords)
    assert (machine.root / "etc/mosquitto/tarebook.passwd").read_text() == HASHED
    assert (machine.root / "usr/local/bin/tarebook").is_symlink()


def test_a_second_run_changes_nothing(machine):
    installed(machine)
    before = machine.content()
    (machine.root / "etc/tarebook/cart.toml").write_text("mine")
    before["etc/tarebook/cart.toml"] = b"mine"
    installed(machine)
    assert machine.content() == before
    assert not machine.asked("systemctl", "restart", "tarebook"), "a fill that is under way is not disturbed"
    assert not machine.asked("systemctl", "restart", "mosquitto")


def test_the_libraries_are_those_it_was_tried_with(machine):
    done = machine.install("--dry-run")
    assert (
        f"pip install -q --disable-pip-version-check --require-hashes -r {machine.repo}/hardware/pi/requirements.txt"
        in done.stdout
    )
    assert f"--no-deps --no-build-isolation {machine.repo}\n" in done.stdout
    first = re.search(r"versions/\S+", done.stdout)[0]
    (machine.repo / "hardware/pi/requirements.txt").write_text("numpy==2.4.7\n")
    assert re.search(r"versions/\S+", machine.install("--dry-run").stdout)[0] != first


def test_a_broker_that_lacks_a_user_or_a_rule_gets_it_and_starts_again(machine):
    installed(machine)
    own = (machine.root / "etc/tarebook/mqtt-password").read_text()
    (machine.root / "etc/tarebook/mqtt-password-collector").unlink()
    (machine.root / "etc/mosquitto/tarebook.passwd").write_text("tarebook:hashed\n")
    installed(machine)
    assert machine.asked("systemctl", "restart", "mosquitto")
    assert (machine.root / "etc/mosquitto/tarebook.passwd").read_text() == HASHED
    assert (machine.root / "etc/tarebook/mqtt-password").read_text() == own
    (machine.root / "etc/mosquitto/tarebook.acl").write_text("user tarebook\n")
    installed(machine)
    assert machine.asked("systemctl", "restart", "mosquitto")
    assert not machine.asked("systemctl", "restart", "tarebook"), "the logger finds its broker again by itself"


def test_an_update_keeps_data_and_the_version_before_it(machine):
    installed(machine)
    store = machine.root / "var/lib/tarebook/tarebook.db"
    store.write_text("sessions")
    first = machine.link("current")
    machine.program("two")
    installed(machine)
    assert (machine.link("previous"), machine.link("current") == first) == (first, False)
    assert store.read_text() == "sessions"
    assert [path.read_text() for path in store.parent.glob("backups/*.db")] == ["sessions"]
    second = machine.link("current")
    assert machine.install("--rollback").returncode == 0
    assert (machine.link("current"), machine.link("previous")) == (first, second)
    assert machine.asked("systemctl", "restart", "tarebook")
    machine.program("three")
    installed(machine)
    assert len(list((machine.root / "opt/tarebook/versions").iterdir())) == 2, "the oldest is forgotten"


def test_a_version_that_does_not_start_gives_way_to_the_one_before(machine):
    installed(machine)
    first = machine.link("current")
    machine.program("faulty")
    machine.broken.touch()
    done = machine.install()
    assert done.returncode == 2
    assert "the one before runs again" in done.stderr
    assert machine.link("current") == first


def test_header_build_turns_on_the_buses_once(machine):
    config = machine.root / "boot/firmware/config.txt"
    config.parent.mkdir(parents=True)
    config.write_text("arm_64bit=1\n")
    for _ in range(2):
        assert machine.install("--header").returncode == 0
    assert config.read_text() == "arm_64bit=1\ndtparam=i2c_arm=on\ndtoverlay=w1-gpio\n"
    assert (machine.root / "etc/tarebook/cart.toml").read_bytes() == (HARDWARE / "carts/header.toml").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "complaint"), [(["--fast"], "unknown argument --fast"), (["--rollback"], "no version to go back to")]
)
def test_one_line_for_a_wrong_use(machine, arguments, complaint):
    done = machine.install(*arguments)
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
    assert complaint in done.stderr


def test_shellcheck_finds_nothing():
    if shutil.which("shellcheck") is None:
        pytest.skip("shellcheck is not installed")
    done = subprocess.run(["shellcheck", SCRIPT], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_systemd_accepts_the_unit_and_finds_it_closed(tmp_path):
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed")
    unit = tmp_path / "tarebook.service"
    text = (FILES / "tarebook.service").read_text()
    assert re.search(r"^Type=notify$", text, re.M)
    assert re.search(r"^WatchdogSec=\d+$", text, re.M)
    unit.write_text(text.replace("/opt/tarebook/current/bin/tarebook", shutil.which("true")))
    done = subprocess.run(["systemd-analyze", "verify", unit], capture_output=True, text=True, check=False)
    complaints = [line for line in done.stderr.splitlines() if "tarebook" in line]
    assert (done.returncode, complaints) == (0, []), done.stderr
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", unit], capture_output=True, text=True, check=False
    )
    exposure = re.search(r"Overall exposure level for tarebook.service: ([\d.]+)", done.stdout)
    assert exposure, done.stderr
    assert float(exposure[1]) <= 2.0


@pytest.mark.parametrize("name", ["board", "header"])
def test_example_cart_files_are_valid(name):
    cart = load_cart(HARDWARE / "carts" / f"{name}.toml")
    assert {"scale", "low_side", "high_side", "vacuum"} <= set(cart.channels)
    assert cart.mqtt.password_file.endswith("mqtt-password")


def test_the_readmes_cart_file_fits_the_board(tmp_path):
    """Its converter says 0 to 4092 (see hardware/board/README.md), the load cell's chip 24 bits with their sign."""
    example = re.search(r"```toml\n(.*?)```", (HARDWARE.parent / "README.md").read_text(), re.S)[1]
    (tmp_path / "cart.toml").write_text(example)
    channels = load_cart(tmp_path / "cart.toml").channels
    assert {"scale", "low_side"} <= set(channels)
    for channel in channels.values():
        top = 4092 if channel.field in ("lo", "hi", "va") else 2**23 - 1
        codes = [code for code, _ in channel.points]
        assert min(codes) >= 0 and top / 10 < max(codes) <= top, channel.name
