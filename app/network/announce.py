"""The house's name on the network, by multicast DNS (RFC 6762). Without it there are still the addresses."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

_LOG = logging.getLogger(__name__)


class Announcement:
    """Says `name` for the present addresses, until it is closed."""

    def __init__(self, name: str, port: int) -> None:
        self.name = name
        self.port = port
        self.trouble = ""
        self._speaker: Any = None
        self._addresses: tuple[str, ...] | None = None

    def say(self, addresses: Sequence[str]) -> None:
        """Announce these addresses. What goes wrong stands in `trouble`, stops nothing, and is tried anew next time."""
        if tuple(addresses) == self._addresses:
            return
        self.close()
        self._addresses = tuple(addresses)
        earlier, self.trouble = self.trouble, ""
        try:
            self._speak(list(addresses))
        except Exception as error:  # whatever a network can do wrong: the name is a convenience
            self.close()
            self.trouble = str(error) or type(error).__name__
            if self.trouble != earlier:
                _LOG.warning("%s is not announced: %s", self.name, self.trouble)

    def _speak(self, addresses: list[str]) -> None:
        # Only who opens the house to its network waits for this import.
        from zeroconf import ServiceInfo, Zeroconf

        if not addresses:
            raise OSError("this machine has no address in a house network")
        self._speaker = Zeroconf(interfaces=addresses)
        kind = "_https._tcp.local."
        info = ServiceInfo(
            kind,
            f"Chitbook of {self.name.removesuffix('.local')}.{kind}",
            port=self.port,
            parsed_addresses=addresses,
            server=f"{self.name}.",
            properties={"path": "/"},
        )
        self._speaker.register_service(info)

    def close(self) -> None:
        speaker, self._speaker, self._addresses = self._speaker, None, None
        if speaker is not None:
            with suppress(Exception):
                speaker.close()
