"""The bundle for finding a fault afterwards says what there is and gives no secret away."""

from __future__ import annotations

import json
import stat
import zipfile

from store_making import ALERT, CHANNELS, SETUP

from logger.bundle import without_secrets
from logger.cli import main
from logger.pairing import Pairing
from logger.paths import store_path
from logger.record.store import Store

CART = '[mqtt]\nhost = "localhost"\nusername = "garage"\npassword_file = "/etc/broker-word"\n'


def test_a_bundle_tells_what_happened_and_no_secret(tmp_path, capsys):
    data, out, cart = tmp_path / "data", tmp_path / "bundle.zip", tmp_path / "cart.toml"
    store = Store.open(store_path(data))
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    store.add_alert(session_id, ALERT)
    store.commit()
    pairing = Pairing(data / "paired.json")
    token = pairing.exchange(pairing.code(), "somebody's phone")
    hashes = [device["sha256"] for device in json.loads((data / "paired.json").read_text())["devices"].values()]
    cart.write_text(CART)
    assert main(["bundle", "--data", str(data), "--cart", str(cart), "-o", str(out)]) == 0
    store.close()
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    with zipfile.ZipFile(out) as archive:
        whole = "\n".join(archive.read(name).decode() for name in archive.namelist())
        told = json.loads(archive.read("store.json"))
    assert told["sessions"][0]["alerts"][0]["code"] == "stop-charging"
    for secret in (token, *hashes, "garage", "broker-word", "somebody's phone", SETUP["vehicle"]["registration"]):
        assert secret not in whole


def test_an_unreadable_store_and_an_empty_folder_are_told(tmp_path):
    data, out = tmp_path / "data", tmp_path / "bundle.zip"
    assert main(["bundle", "--data", str(data), "-o", str(out)]) == 0
    data.mkdir()
    store_path(data).write_bytes(b"no database at all" * 100)
    assert main(["bundle", "--data", str(data), "-o", str(out)]) == 0
    assert "cannot be read" in json.loads(zipfile.ZipFile(out).read("store.json"))["store"]


def test_what_opens_doors_is_blanked_and_the_rest_stays():
    assert without_secrets('port = 1\n  password = "x"\nkey_file="y"\n') == (
        'port = 1\n  password = "(left out)"\nkey_file= "(left out)"\n'
    )
