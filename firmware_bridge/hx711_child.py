"""The process that holds an HX711's pins. Run as a module with its setting as JSON; says what it reads as JSON, a line
each, and ends when nobody listens any more."""

from __future__ import annotations

import importlib
import json
import logging
import sys
from dataclasses import asdict

from firmware_bridge.hx711_guard import GuardedCell


def main(setting: dict) -> None:
    """setting: gpio (the GPIO module to import), dout, sck, gain, rate_hz."""
    # the package logs each pin reading, and to the root logger
    logging.basicConfig(level=logging.ERROR, stream=sys.stderr)
    importlib.import_module(setting.pop("gpio"))
    cell = GuardedCell(importlib.import_module("hx711"), **setting)
    while True:
        say(asdict(cell.word()))


def say(message: dict) -> None:
    print(json.dumps(message), flush=True)


if __name__ == "__main__":
    try:
        main(json.loads(sys.argv[1]))
    except BrokenPipeError:
        """The side that listened has gone."""
    except ModuleNotFoundError as error:
        say({"status": "died", "why": f"{error}: hardware/pi/install.sh --header installs it"})
    except Exception as error:
        say({"status": "died", "why": f"{type(error).__name__}: {error}"})
