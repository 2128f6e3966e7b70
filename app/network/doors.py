"""The two doors to the house network: one for https, one that hands out what a phone needs to trust it."""

from __future__ import annotations

import logging
import ssl
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Thread
from typing import Any

from cheroot import wsgi
from cheroot.ssl.builtin import BuiltinSSLAdapter

THREADS = 32
"""A browser opens connections before it needs them, and each holds a thread until it speaks or QUIET_S have passed."""
QUIET_S = 10
STOP_S = 1
MOST_KEPT_OPEN = 1000
"""Idle connections wait in a selector and hold no thread."""
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


class Door(wsgi.Server):
    """A server in a thread of this process."""

    def __init__(self, host: str, port: int, app: Callable[..., Any], *, threads: int = THREADS) -> None:
        super().__init__(
            (host, port), app, numthreads=threads, request_queue_size=128, timeout=QUIET_S, shutdown_timeout=STOP_S
        )
        self.keep_alive_conn_limit = MOST_KEPT_OPEN
        self.max_request_header_size = LARGEST_HEADER_BYTES
        self.server_name = "Chitbook"

    def open(self) -> None:
        self.prepare()
        Thread(target=self.serve, name=f"door-{self.bind_addr[1]}", daemon=True).start()

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        # A phone that hangs up, or does not trust us yet, is no trouble of ours.
        is_ours = level >= logging.ERROR and not isinstance(sys.exception(), OSError)
        _LOG.log(level if is_ours else logging.DEBUG, "%s", msg, exc_info=traceback)
