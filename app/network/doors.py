"""The two doors to the house network: one for https, one that hands out what a phone needs to trust it."""

from __future__ import annotations

import logging
import ssl
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread
from typing import Any

from cheroot import wsgi
from cheroot.server import HeaderReader
from cheroot.ssl.builtin import BuiltinSSLAdapter

from app.network.crowd import GIVES_WAY_S, OPEN_PER_THREAD, STOP_S, Connection, Crowd, Request

THREADS = 32
"""A browser opens connections before it needs them, and each holds a thread until it speaks or gives way."""
QUIET_S = 10
"""How long a peer is waited for in all, beyond the time that what it sends or takes needs on a slow line."""
LARGEST_HEADER_BYTES = 65536
_LOG = logging.getLogger(__name__)


class Certificate(BuiltinSSLAdapter):
    """TLS 1.2 or newer with a certificate that can be changed while connections are open."""

    def __init__(self, path: Path) -> None:
        super().__init__(str(path), str(path))
        self.renew()

    def renew(self) -> None:
        """Handshakes from now on show the certificate that the file has now. What is under way is not touched.

        It goes into a context of its own: in one that is in use, a handshake may meet the new certificate and the old
        key.
        """
        fresh = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        fresh.minimum_version = ssl.TLSVersion.TLSv1_2
        fresh.load_cert_chain(self.certificate)
        self.context = fresh

    def wrap(self, sock: Any) -> tuple[ssl.SSLSocket, dict[str, str]]:
        # Greeting each other takes a round trip, or for ever; so a thread of its own does it, with the first read.
        secure = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        return secure, {"wsgi.url_scheme": "https", "HTTPS": "on"}


class Headers(HeaderReader):
    """Header fields of a request whose length is known before it comes. No browser sends any other."""

    def __call__(self, rfile: Any, hdict: dict[bytes, bytes] | None = None) -> dict[bytes, bytes]:
        headers: dict[bytes, bytes] = super().__call__(rfile, hdict)
        if b"Transfer-Encoding" in headers or not headers.get(b"Content-Length", b"0").isdigit():
            raise ValueError("Say in Content-Length how many bytes come.")
        return headers


Request.header_reader = Headers()


class Door(wsgi.Server):
    """A server in a thread of this process. largest_body: what it takes at most, in bytes; more is refused unread."""

    ConnectionClass = Connection

    def __init__(
        self, host: str, port: int, app: Callable[..., Any], *, largest_body: int, threads: int = THREADS
    ) -> None:
        super().__init__(
            (host, port), app, numthreads=threads, request_queue_size=128, timeout=QUIET_S, shutdown_timeout=STOP_S
        )
        self.crowd = Crowd(threads)
        self._stopping = Event()
        self.keep_alive_conn_limit = OPEN_PER_THREAD * threads
        self.max_request_body_size = largest_body
        self.max_request_header_size = LARGEST_HEADER_BYTES
        self.server_name = "Chitbook"

    def open(self) -> None:
        self.prepare()
        for work in (self.serve, self._make_room):
            Thread(target=work, name=f"door-{self.bind_addr[1]}", daemon=True).start()

    def process_conn(self, conn: Connection) -> None:
        if self.crowd.queue(conn):
            super().process_conn(conn)
        else:
            conn.close()

    def put_conn(self, conn: Connection) -> None:
        self.crowd.rest(conn)
        super().put_conn(conn)

    def _make_room(self) -> None:
        while not self._stopping.wait(GIVES_WAY_S / 2):
            self.crowd.make_room()

    def stop(self) -> None:
        self._stopping.set()
        self.crowd.end()
        super().stop()

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        # A phone that hangs up, or does not trust us yet, is no trouble of ours.
        is_ours = level >= logging.ERROR and not isinstance(sys.exception(), OSError)
        _LOG.log(level if is_ours else logging.DEBUG, "%s", msg, exc_info=traceback)
