"""A running page: the address it binds, the server, and how it ends."""

from __future__ import annotations

import errno
import logging
import os
import socket
from collections.abc import Callable
from pathlib import Path

from waitress import create_server
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError

from trackgrade.errors import OutputError, UsageError
from trackgrade.page.app import MOST_REQUEST_BYTES, make_app
from trackgrade.page.desk import Desk
from trackgrade.page.gate import Gate
from trackgrade.page.house import House

#: This machine alone.
HOST = "127.0.0.1"
THREADS = 8
#: Of a request line with an address in full (http://...), as no browser sends it to a server [bytes].
LONGEST_FULL_ADDRESS = 1000


def serve(data: Path, holds: Path, logbook: str, port: int, ready: Callable[[str], None]) -> None:
    """Serve until it is interrupted; ``ready`` is given the address, with the key, once it answers.

    Raises UsageError: the port is taken; OutputError: the data folder cannot be written.
    """
    desk = Desk(data)
    with _bound(port) as bound:
        gate = Gate(bound.getsockname()[1])
        house = House(desk, holds, logbook)
        logging.getLogger("waitress").setLevel(logging.CRITICAL)  # a full queue is nobody's news
        try:
            server = create_server(
                make_app(house, gate),
                sockets=[bound],
                threads=THREADS,
                ident="",
                max_request_body_size=MOST_REQUEST_BYTES,
                clear_untrusted_proxy_headers=True,
            )
            server.channel_class = Channel
            ready(gate.address)
            server.run()  # returns at Ctrl-C and SIGTERM, which the command line makes the same
        finally:
            house.close()


class Parser(HTTPRequestParser):  # type: ignore[misc]
    """The library takes the parts of an address in full by a search that takes the square of its length: 15 s of the
    whole server for 30 kB."""

    def parse_header(self, header: bytes) -> None:
        line = header.partition(b"\n")[0]
        if b"://" in line and len(line) > LONGEST_FULL_ADDRESS:
            raise ParsingError("the address is too long")
        super().parse_header(header)


class Channel(HTTPChannel):  # type: ignore[misc]
    """A connection whose requests are parsed so."""

    parser_class = Parser


def _bound(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # on Windows it would let two servers share a port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
    except (OSError, OverflowError) as problem:
        listening.close()
        taken = isinstance(problem, OSError) and problem.errno in (errno.EADDRINUSE, errno.EACCES)
        raise (UsageError if taken else OutputError)(
            f"port {port} is taken, or not yours to use: give another --port, or leave it out for a free one"
        ) from None
    return listening
