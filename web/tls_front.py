"""TLS before a server that has none: what comes in is decrypted and handed to the server's own socket, and back."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import re
import socket
import ssl
import threading
from collections import Counter
from collections.abc import Callable
from pathlib import Path

log = logging.getLogger(__name__)

HANDSHAKE_S = 10.0
GOODBYE_S = 1.0
PIECE_BYTES = 64 * 1024
BACKLOG = 128
TLS_RECORD = 0x16
"""The first byte of every TLS connection (RFC 8446, 5.1: a handshake record); no HTTP request begins with it."""
HOST = re.compile(rb"^host:[ \t]*([A-Za-z0-9.:\[\]-]+)[ \t]*\r?$", re.IGNORECASE | re.MULTILINE)
TARGET = re.compile(rb"^[A-Z]+ (/[!-~]*) HTTP/")


class TlsFront:
    """Listens at host:port from the start on and serves from `start` to `stop` in a thread of its own.

    inner: the socket of the server behind. most: connections in all. room: whether an address that holds so many gets
    one more. Who speaks plain HTTP is sent to the same page under https.
    Raises OSError when the address is taken.
    """

    def __init__(
        self, context: ssl.SSLContext, host: str, port: int, inner: Path, most: int, room: Callable[[str, int], bool]
    ):
        self._context, self._inner, self._most, self._room = context, inner, most, room
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self._socket = socket.create_server((host, port), family=family, backlog=BACKLOG)
        self._socket.setblocking(False)
        self.port = self._socket.getsockname()[1]
        self._open: Counter[str] = Counter()
        self._loop = asyncio.new_event_loop()
        self._ended = asyncio.Event()
        self._thread = threading.Thread(target=self._run, name="tls", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End every connection and close the socket."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._ended.set)
            self._thread.join(timeout_s)
        else:
            self._loop.close()
        self._socket.close()

    def _run(self) -> None:
        with contextlib.closing(self._loop):
            self._loop.run_until_complete(self._serve())

    async def _serve(self) -> None:
        accepting = asyncio.ensure_future(self._accept())
        await self._ended.wait()
        others = asyncio.all_tasks() - {asyncio.current_task()}
        for task in others:
            task.cancel()
        await asyncio.wait({accepting, *others})

    async def _accept(self) -> None:
        calls: set[asyncio.Task] = set()
        while True:
            try:
                caller, address = await self._loop.sock_accept(self._socket)
            except OSError as error:
                log.warning("a connection could not be taken: %s", error)
                await asyncio.sleep(GOODBYE_S)
                continue
            if self._open.total() < self._most and self._room(address[0], self._open[address[0]]):
                call = asyncio.ensure_future(self._call(caller, address[0]))
                calls.add(call)
                call.add_done_callback(calls.discard)
            else:
                caller.close()

    async def _call(self, caller: socket.socket, address: str) -> None:
        self._open[address] += 1
        try:
            with contextlib.suppress(OSError, ssl.SSLError, TimeoutError):
                if await self._wants_tls(caller):
                    await self._talk(caller)
        finally:
            self._open[address] -= 1
            self._open += Counter()

    async def _wants_tls(self, caller: socket.socket) -> bool:
        """Whether to go on; a caller who speaks plain HTTP has had its answer, and is gone."""
        goes_on = False
        try:
            caller.setblocking(False)
            caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            async with asyncio.timeout(HANDSHAKE_S):
                goes_on = await self._begins_with_tls(caller)
                if not goes_on:
                    await self._send_to_https(caller)
        finally:
            if not goes_on:
                caller.close()
        return goes_on

    async def _talk(self, caller: socket.socket) -> None:
        """From here on the loop owns the socket and closes it."""
        outer = await self._handshake(caller)
        writers = [outer[1]]
        try:
            inner = await asyncio.open_unix_connection(self._inner, limit=PIECE_BYTES)
            writers.append(inner[1])
            await _join(outer, inner)
        finally:
            for writer in writers:
                writer.close()
            for writer in writers:
                with contextlib.suppress(OSError, ssl.SSLError):
                    await writer.wait_closed()

    async def _begins_with_tls(self, caller: socket.socket) -> bool:
        """Looks at the first byte and leaves it where it is."""
        seen = self._loop.create_future()
        self._loop.add_reader(caller, lambda: seen.done() or seen.set_result(None))
        try:
            await seen
        finally:
            self._loop.remove_reader(caller)
        return caller.recv(1, socket.MSG_PEEK)[:1] == bytes([TLS_RECORD])

    async def _handshake(self, caller: socket.socket) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        reader = asyncio.StreamReader(limit=PIECE_BYTES)
        protocol = asyncio.StreamReaderProtocol(reader)
        transport, _ = await self._loop.connect_accepted_socket(
            lambda: protocol,
            caller,
            ssl=self._context,
            ssl_handshake_timeout=HANDSHAKE_S,
            ssl_shutdown_timeout=GOODBYE_S,
        )
        return reader, asyncio.StreamWriter(transport, protocol, reader, self._loop)

    async def _send_to_https(self, caller: socket.socket) -> None:
        head = b""
        while b"\r\n\r\n" not in head and len(head) < PIECE_BYTES:
            piece = await self._loop.sock_recv(caller, PIECE_BYTES)
            if not piece:
                return
            head += piece
        host, target = HOST.search(head), TARGET.match(head)
        if host and target:
            there = b"https://" + host[1] + target[1]
            said = b"307 Temporary Redirect\r\nLocation: " + there
        else:
            said = b"400 Bad Request"
        await self._loop.sock_sendall(
            caller, b"HTTP/1.1 " + said + b"\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
        )


async def _join(outer: tuple, inner: tuple) -> None:
    """Both ways at once, until one side has ended."""
    ways = [asyncio.ensure_future(_pass_on(outer[0], inner[1])), asyncio.ensure_future(_pass_on(inner[0], outer[1]))]
    try:
        await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for way in ways:
            way.cancel()
        await asyncio.gather(*ways, return_exceptions=True)


async def _pass_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while piece := await reader.read(PIECE_BYTES):
        writer.write(piece)
        await writer.drain()
