"""Many carts on one broker: what is lost, what it costs, how late messages are beside those of one cart alone.

Each cart is the real daemon in a process of its own: pipeline, store, publisher. Its readings are those of an invented
fill, played faster than real time so that a few carts load the machine as many would. In the end all sessions are
gathered into one data set and counted again.

Run: tests/bench/run fleet [CARTS] [SPEED] [SECONDS]
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from datetime import datetime
from pathlib import Path

import numpy as np
import paho.mqtt.client as mqtt
import pyarrow.dataset as ds
from paho.mqtt.enums import CallbackAPIVersion

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from conftest import Broker  # noqa: E402 - found by the line above

from firmware_bridge.virtual.rollout import rollout  # noqa: E402 - as above
from firmware_bridge.virtual.scenario import random_fill  # noqa: E402 - as above
from logger.collect import Collector  # noqa: E402 - as above
from logger.measure.marks import Mark  # noqa: E402 - as above
from logger.publish.broker_link import BrokerSettings  # noqa: E402 - as above
from logger.record.recording import Recording, write_recording  # noqa: E402 - as above
from logger.record.rows import Rows  # noqa: E402 - as above

FILLS = 4


class Ear:
    """Hears every cart: delays of the snapshots (s), and each alert as often as it came."""

    def __init__(self, port: int):
        self.delays_s: list[float] = []
        self.alerts: dict[tuple[str, int], list[float]] = {}
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.on_message = self._hear
        self._client.connect("127.0.0.1", port)
        self._client.subscribe([("tarebook/+/now", 0), ("tarebook/+/alert", 1)])
        self._client.loop_start()

    def _hear(self, _client, _data, message) -> None:
        now_s, content = time.time(), json.loads(message.payload)
        if message.topic.endswith("/alert"):
            self.alerts.setdefault((content["cart_id"], content["seq"]), []).append(now_s)
        else:
            self.delays_s.append(now_s - datetime.fromisoformat(content["t_utc"]).timestamp())

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def report(carts: int = 20, speed: float = 4.0, seconds: float = 40.0) -> list[str]:
    """What was lost (to be 0), processor time, delays and their ratios to one cart alone."""
    with tempfile.TemporaryDirectory() as folder:
        recordings = _recordings(Path(folder))
        alone = measure(recordings, Path(folder) / "one", 1, speed, seconds)
        fleet = measure(recordings, Path(folder) / "many", carts, speed, seconds)
    return [
        f"{carts} carts at {speed:g} times real time for {seconds:g} s on {os.cpu_count()} cores, each its own process",
        f"lost on the way to disk: {fleet['readings_lost']} of {fleet['readings']} readings; alerts lost or heard "
        f"twice: {fleet['alerts_wrong']} of {fleet['alerts']}",
        f"gathered: {fleet['gathered']} of {carts} sessions; readings missing in the data set: {fleet['dataset_lost']}",
        f"processor: {alone['cpu']:.3f} cores for one cart alone, {fleet['cpu']:.3f} each of {carts}, ratio "
        f"{fleet['cpu'] / alone['cpu']:.2f}; {fleet['cpu'] * carts:.2f} cores together",
        _delays("snapshot taken to heard, median", alone["now"], fleet["now"], 50),
        _delays("snapshot taken to heard, 99th percentile", alone["now"], fleet["now"], 99),
        _delays("alert told to heard, median", alone["alert"], fleet["alert"], 50),
        _delays("alert told to heard, worst", alone["alert"], fleet["alert"], 100),
        f"gathering {carts} sessions: {fleet['gather_s'] / max(alone['gather_s'], 1e-9):.2f} times as long as one",
    ]


def _delays(what: str, alone: list[float], fleet: list[float], percentile: float) -> str:
    if not alone or not fleet:
        return f"{what}: none came; play longer"
    one, many = np.percentile(alone, percentile), np.percentile(fleet, percentile)
    return f"{what}: {one * 1000:.0f} ms alone, {many * 1000:.0f} ms in the fleet, ratio {many / one:.2f}"


def measure(recordings: list[Path], folder: Path, carts: int, speed: float, seconds: float) -> dict:
    """One run of so many carts."""
    folder.mkdir()
    broker = Broker(folder)
    broker.start()
    processes = [_start(recordings[k % FILLS], folder, k, broker.port, speed, seconds) for k in range(carts)]
    try:
        for process in processes:
            assert json.loads(process.stdout.readline())["connected"]
        time.sleep(4.0)  # alerts wait so long after a connection; see logger/publish/mqtt.py
        ear = Ear(broker.port)
        _go(processes)
        said = _said(processes)
        ear.close()
        began = time.monotonic()
        reports = Collector(BrokerSettings("127.0.0.1", broker.port), folder / "all").run()
        found = _found(said, ear, folder / "all")
        found |= {"gathered": sum(r.taken for r in reports), "gather_s": time.monotonic() - began}
        _go(processes)
        return found
    finally:
        for process in processes:
            process.communicate(timeout=30)
        broker.stop()


def _start(
    recording: Path, folder: Path, k: int, port: int, speed: float, seconds: float
) -> subprocess.Popen[str]:
    place = folder / f"cart-{k}"
    place.mkdir()
    arguments = [str(recording), str(place), f"cart-{k}", str(port), str(speed), str(seconds)]
    command = [sys.executable, str(HERE / "fleet_cart.py"), *arguments]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _go(processes: list[subprocess.Popen[str]]) -> None:
    for process in processes:
        process.stdin.write("\n")
        process.stdin.flush()


def _said(processes: list[subprocess.Popen[str]]) -> dict[str, dict]:
    """What each cart says of its session; all are read at once, so that none waits for a reader."""
    said: dict[str, dict] = {}

    def read(k: int, process: subprocess.Popen[str]) -> None:
        said[f"cart-{k}"] = json.loads(process.stdout.readline())

    threads = [threading.Thread(target=read, args=item) for item in enumerate(processes)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return said


def _found(said: dict[str, dict], ear: Ear, dataset: Path) -> dict:
    raised = {(cart, seq) for cart, one in said.items() for seq in one["alerts"]}
    told_s = {(cart, int(seq)): at for cart, one in said.items() for seq, at in one["raised"].items()}
    once = {key for key, times in ear.alerts.items() if len(times) == 1}
    readings = dataset / "readings"
    in_dataset = ds.dataset(readings, format="parquet").count_rows() if readings.exists() else 0
    kept = sum(one["kept"] for one in said.values())
    return {
        "readings": sum(one["given"] for one in said.values()),
        "readings_lost": sum(one["given"] - one["kept"] for one in said.values()),
        "dataset_lost": kept - in_dataset,
        "alerts": len(raised),
        "alerts_wrong": len(raised ^ once),
        "cpu": float(np.mean([one["cpu"] for one in said.values()])),
        "now": ear.delays_s,
        "alert": [ear.alerts[key][0] - at for key, at in told_s.items() if key in ear.alerts],
    }


def _recordings(folder: Path) -> list[Path]:
    """Some invented fills."""
    paths = []
    for seed in range(FILLS):
        played = rollout(random_fill(seed, "fast_liquid"))
        rows = Rows(played.t_s, played.channel, played.value)
        paths.append(folder / f"fill-{seed}.zip")
        write_recording(Recording(played.setup, rows, [Mark(*mark) for mark in played.marks]), paths[-1])
    return paths


if __name__ == "__main__":
    given = [float(text) for text in sys.argv[1:]]
    print("\n".join(report(*[int(given[0]), *given[1:]] if given else [])))
