"""A small cart for tests of the daemon: an emulated board on a pseudo-terminal, a container that can be drawn from."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

from firmware_bridge.cart import Cart, load_cart
from firmware_bridge.clock import Clock
from firmware_bridge.virtual.board_emulator import BoardEmulator

CODES_PER_G = 200
GROSS_G = 5000.0
SETUP = {"refrigerant": "R-134a", "placard": {"low_g": 285.0, "high_g": 315.0}, "target_g": 300.0}
FIELDS = {"w": 10.0, "lo": 5.0, "t1": 1.0}


class BenchCart:
    """`flow_g_per_s` leaves the container whenever `flowing()`; `drawn_g` is the truth."""

    def __init__(self, folder: Path, speed: float = 1.0, rates_hz: dict | None = None, read_code=None):
        self.folder, self.clock = folder, Clock(speed)
        self.flow_g_per_s, self.drawn_g = 0.0, 0.0
        self.flowing = lambda: True
        self._weighed_s = self.clock.now()
        folder.mkdir(parents=True, exist_ok=True)
        rates_hz = dict(FIELDS) if rates_hz is None else rates_hz
        self.board = BoardEmulator(read_code or self._read, rates_hz, self.clock, folder / "board-port")
        self.board.start()

    def _read(self, field: str) -> int:
        if field != "w":
            return {"lo": 300, "t1": 400}[field]
        now_s = self.clock.now()
        if self.flowing():
            self.drawn_g += self.flow_g_per_s * (now_s - self._weighed_s)
        self._weighed_s = now_s
        return round((GROSS_G - self.drawn_g) * CODES_PER_G)

    def file(self, mqtt_port: int | None = None, more: str = "", scale_hz: float = 10.0) -> Path:
        lines = ['[cart]\nid = "bench"', f'[board]\nport = "{self.board.port}"']
        lines += [
            f'[channel.scale]\nsource = "board"\nfield = "w"\nunit = "g"\nrate_hz = {scale_hz}',
            f"points = [[0, 0.0], [{1000 * CODES_PER_G}, 1000.0]]",
        ]
        if "lo" in self.board.rates_hz:
            lines += ['[channel.low_side]\nsource = "board"\nfield = "lo"\nunit = "kPa"\nrate_hz = 5']
            lines += ["points = [[0, 0.0], [1000, 1000.0]]"]
            lines += ['[channel.ambient_temp]\nsource = "board"\nfield = "t1"\nunit = "°C"\nrate_hz = 1']
        if mqtt_port:
            lines += [f'[mqtt]\nhost = "127.0.0.1"\nport = {mqtt_port}']
        path = self.folder / "cart.toml"
        path.write_text("\n".join([*lines, more]) + "\n", "utf-8")
        return path

    def cart(self, *args, **kwargs) -> Cart:
        return load_cart(self.file(*args, **kwargs))

    def stop(self) -> None:
        self.board.stop()


class LoggerProcess:
    """`tarebook run` in a process of its own."""

    def __init__(self, cart_file: Path, data: Path, *more: str):
        command = "import argparse, sys; from logger.daemon import run_daemon; sys.exit(run_daemon(argparse.Namespace("
        command += "cart=sys.argv[1], data=sys.argv[2], http='127.0.0.1:0', open=(sys.argv[3:] or [None])[0])))"
        self._begin([sys.executable, "-c", command, str(cart_file), str(data), *more])

    def _begin(self, command: list[str], **how) -> None:
        """how: as subprocess.Popen has it."""
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **how)
        self.lines: list[str] = []
        self._said = threading.Condition()
        self._threads = [
            threading.Thread(target=self._listen, args=(stream,))
            for stream in (self.process.stdout, self.process.stderr)
        ]
        for thread in self._threads:
            thread.start()

    def _listen(self, stream) -> None:
        for line in stream:
            with self._said:
                self.lines.append(line.rstrip())
                self._said.notify_all()

    def wait_for(self, word: str, timeout: float = 40) -> str:
        """The first line that has `word`."""
        with self._said:
            found = self._said.wait_for(lambda: [line for line in self.lines if word in line], timeout)
        assert found, f"never said {word!r}: {self.lines}"
        return found[0]

    def end(self, number: int) -> int:
        """Send a signal and wait; the exit status."""
        self.process.send_signal(number)
        return self.join()

    def join(self) -> int:
        status = self.process.wait(30)
        for thread in self._threads:
            thread.join(10)
        return status

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.join()
        self.process.stdout.close()
        self.process.stderr.close()


def until(condition, seconds: float = 30):
    """What `condition` comes to, once it is true; fails when it never is."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        value = condition()
        if value:
            return value
        time.sleep(0.02)
    raise AssertionError("it never came to that")
