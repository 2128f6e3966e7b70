"""A port for a server of a test."""

from __future__ import annotations

import random
import socket

LOWEST, HIGHEST = 20_000, 32_000
"""Below those that the system gives to whoever calls out: a browser beside the test could take one meanwhile."""


def free_port() -> int:
    """A port that nobody listens on."""
    for _ in range(200):
        port = random.randint(LOWEST, HIGHEST)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
        return port
    raise AssertionError("no port is free")
