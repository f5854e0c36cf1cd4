"""The sensor board on USB serial as a source: its samples as blocks, its sensors' health, its valve and buzzer."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.board_clock import BoardClock
from firmware_bridge.board_link import BoardLink
from firmware_bridge.channel import Channel, ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.frames import PROTO, Frame
from firmware_bridge.health import HealthBook, patience_s
from firmware_bridge.onewire import PowerOnValue
from firmware_bridge.source import ChannelHealth, SourceError

FAULTS = {1: "not ready", 2: "saturated", 3: "open wire", 4: "shorted wire"}
LOAD_CELL_FIELD = "w"
LOAD_CELL_RATES_HZ = (10, 80)
LOAD_CELL_RAILS = (-(2**23), 2**23 - 1)
ASK_AGAIN_S = 1.0
ASK_AT_MOST = 5
RESET_STEP_S = 5.0


class BoardSource:
    """channels: what the board's fields mean; board: the identity the board must give, None for any.

    The board's `ID` comes before its samples count, so that a board of another protocol is never read wrongly. When the
    port vanishes or the board falls silent `read` raises SourceError; close and open again until it is back.
    """

    def __init__(
        self,
        port: str,
        channels: Mapping[str, ChannelConfig],
        clock: Clock,
        *,
        baud: int = 115200,
        board: str | None = None,
        name: str = "board",
    ):
        self.name = name
        self.channels = tuple(channels)
        self._clock, self._board = clock, board
        self._by_field = {config.field: Channel(config) for config in channels.values()}
        self._power_on = {field: PowerOnValue() for field in self._by_field if field[0] == "t"}
        self._book = HealthBook({name: config.rate_hz for name, config in channels.items()}, clock)
        self._link = BoardLink(port, baud, clock)
        self._board_clock = BoardClock(patience_s(clock, RESET_STEP_S, 1.0))
        self._faults: dict[str, int] = {}
        self._boot: object = None
        self._lost_before = self._unidentified = 0
        self._forget_identity()

    # --- the source

    def open(self) -> None:
        self._link.close()
        try:
            self._link.open()
            self._board_clock.forget()
            self._forget_identity()
            self._ask()
        except SourceError as error:
            self._book.link_down(str(error))
            raise
        self._book.opened()

    def read(self, timeout_s: float) -> list[Block]:
        try:
            arrived = self._link.read(timeout_s)
            samples: dict[str, tuple[list[float], list[int]]] = {}
            for frame, arrival_s in arrived:
                self._take(frame, arrival_s, samples)
            self._ask_when_in_doubt()
        except SourceError as error:
            self._book.link_down(str(error))
            raise
        return [self._by_field[field].block(t_s, codes) for field, (t_s, codes) in samples.items()]

    def health(self) -> list[ChannelHealth]:
        return self._book.judge()

    def counters(self) -> dict[str, int]:
        link = self._link
        return link.decoder.counters() | {
            "opened": link.opened,
            "silences": link.silences,
            "clock_resets": self._board_clock.resets,
            "unidentified": self._unidentified,
        }

    def close(self) -> None:
        self._link.close()
        self._book.closed()

    # --- the board's other abilities

    def request(self, **what: int) -> bool:
        """Ask the board for `rate=10|80`, `beep=<ms>` or `valve=0|1`; whether it said that it obeyed.

        Call it from another thread than the one that reads: the answer comes through `read`. False when none came in
        half a second.
        """
        return self._link.request(**what)

    # --- frames

    def _take(self, frame: Frame, arrival_s: float, samples: dict[str, tuple[list[float], list[int]]]) -> None:
        if frame.type == "ID":
            self._meet(frame)
        elif not self._identified:
            self._unidentified += frame.type in ("SM", "ST")
        elif frame.type in ("SM", "ST"):
            t_s = self._board_clock.map(frame.micros, arrival_s)
            for field, value in frame.fields.items():
                if field in self._by_field:
                    code = self._code(field, value, t_s) if frame.type == "SM" else self._sensor_says(field, value)
                    if code is not None:
                        times, codes = samples.setdefault(field, ([], []))
                        times.append(t_s)
                        codes.append(code)

    def _code(self, field: str, code: int, t_s: float) -> int:
        """The code as it goes into a block; INVALID_CODE when it is no reading."""
        channel = self._by_field[field]
        reason = FAULTS.get(self._faults.get(field, 0)) or channel.why_invalid(code)
        if not reason and field == LOAD_CELL_FIELD and code in LOAD_CELL_RAILS:
            reason = "saturated"
        if not reason and field in self._power_on and self._power_on[field].is_it(code):
            reason = "the probe gives its power-on value, 85 °C"
        if reason:
            self._book.invalid(channel.name, reason)
            return INVALID_CODE
        self._book.reading(channel.name, t_s)
        return code

    def _sensor_says(self, field: str, fault: int) -> int | None:
        """Note a sensor's change of health; an invalid reading when it begins to be ill."""
        self._faults[field] = fault
        name = self._by_field[field].name
        if fault == 0:
            self._book.clear(name)
            return None
        self._book.invalid(name, FAULTS.get(fault, f"fault {fault}"))
        return INVALID_CODE

    # --- who is there

    def _forget_identity(self) -> None:
        self._identified = False
        self._asked = 0
        self._asked_s = 0.0

    def _ask(self) -> None:
        self._asked += 1
        self._asked_s = self._clock.now()
        self._link.send(id=1)

    def _ask_when_in_doubt(self) -> None:
        """Ask who is there until it is known, and again when a lost frame may have told that a sensor is well again."""
        decoder = self._link.decoder
        missed = decoder.lost + decoder.dropped
        in_doubt = missed != self._lost_before and any(self._faults.values())
        self._lost_before = missed
        if self._identified and not in_doubt:
            return
        if self._clock.now() - self._asked_s < patience_s(self._clock, ASK_AGAIN_S) and not in_doubt:
            return
        if not self._identified and self._asked >= ASK_AT_MOST:
            raise SourceError(
                f"{self._link.port}: what is there never says who it is: is it a sensor board, and the baud rate right?"
            )
        self._ask()

    def _meet(self, frame: Frame) -> None:
        proto, board = frame.fields.get("proto"), frame.fields.get("board", "")
        if proto != str(PROTO):
            raise SourceError(
                f"{self._link.port}: board {board!r} speaks protocol {proto}, this program speaks {PROTO}: "
                "put matching firmware on the board"
            )
        if self._board is not None and board != self._board:
            raise SourceError(f"{self._link.port}: this is board {board!r}, the cart file asks for {self._board!r}")
        if frame.fields.get("boot") != self._boot or not self._identified:
            self._boot = frame.fields.get("boot")
            self._board_clock.forget()
            self._set_load_cell_rate()
        self._identified = True
        self._book.link_up()
        self._start_well(str(frame.fields.get("ch", "")).split("+"))

    def _start_well(self, fields: list[str]) -> None:
        """After an ID frame the board tells anew which sensors are ill."""
        self._faults.clear()
        for field, channel in self._by_field.items():
            if field in fields:
                self._book.clear(channel.name)
            else:
                self._book.fault(channel.name, f"the board has no sensor {field!r}")

    def _set_load_cell_rate(self) -> None:
        cell = self._by_field.get(LOAD_CELL_FIELD)
        if cell and cell.config.rate_hz in LOAD_CELL_RATES_HZ:
            self._link.send(rate=int(cell.config.rate_hz))
