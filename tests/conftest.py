"""What tests of every room share: the example recordings and a broker of their own."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from brokers import Broker
from packaged import REPO, build

RECORDINGS = Path(os.environ.get("TAREBOOK_RECORDINGS") or REPO.parent / "shared" / "recordings")


@pytest.fixture(scope="session")
def recordings() -> Path:
    """The folder of independent example recordings (zips); TAREBOOK_RECORDINGS says where, when it is elsewhere."""
    if not list(RECORDINGS.glob("*.zip")):
        pytest.skip("the example recordings are not here; TAREBOOK_RECORDINGS names their folder")
    return RECORDINGS


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """(wheel, sdist) of the tree as it is."""
    return build(tmp_path_factory.mktemp("tree"), tmp_path_factory.mktemp("dist"))


@pytest.fixture(scope="module")
def module_mosquitto(tmp_path_factory: pytest.TempPathFactory):
    """As `mosquitto`, one for all tests of a module."""
    if not shutil.which("mosquitto"):
        pytest.skip("mosquitto is not installed")
    broker = Broker(tmp_path_factory.mktemp("broker"))
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def mosquitto(tmp_path: Path):
    """A mosquitto on a free port, with `port`, `start()` and `stop()`; started at once, ended with the test."""
    if not shutil.which("mosquitto"):
        pytest.skip("mosquitto is not installed")
    broker = Broker(tmp_path)
    broker.start()
    yield broker
    broker.stop()
