"""How long a test waits for what must come: so long that a busy machine never fails it, and never forever."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic, sleep

PATIENCE_S = 120


def wait_until(is_so: Callable[[], object], every_s: float = 0.02) -> None:
    """Wait for it."""
    until = monotonic() + PATIENCE_S
    while not is_so():
        assert monotonic() < until, "waited in vain"
        sleep(every_s)
