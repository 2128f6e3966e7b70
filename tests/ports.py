"""A port for a server of a test."""

from __future__ import annotations

import os
import random
import socket

LOWEST, HIGHEST = 20_000, 32_000
"""Below those that the system gives to whoever calls out: a browser beside the test could take one meanwhile."""


def _own_share() -> range:
    """The ports of this process alone, of those that run the tests at the same time."""
    count = int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    place = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    size = (HIGHEST - LOWEST) // count
    return range(LOWEST + place % count * size, LOWEST + (place % count + 1) * size)


_share = _own_share()
_given = random.randrange(len(_share))


def free_port() -> int:
    """A port that nobody listens on, and that was not given to another test of late."""
    global _given
    for _ in _share:
        _given = (_given + 1) % len(_share)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", _share[_given]))
            except OSError:
                continue
        return _share[_given]
    raise AssertionError("no port is free")
