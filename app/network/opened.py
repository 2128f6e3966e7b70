"""The house opened to its network: doors, certificate, name; and the watch that keeps all three right."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from threading import Event, Thread
from typing import Any

from app import ports
from app.config import Settings
from app.errors import CannotStart
from app.network.addresses import is_private, plain, present
from app.network.announce import Announcement
from app.network.authority import Authority, ensure_authority
from app.network.doors import Certificate, Door
from app.network.files import Files, check_private
from app.network.handout import make_handout
from app.network.house import ensure_house
from app.network.trust_page import Trust

LOOK_EVERY_S = 60.0
NOTHING_TO_SAY_BYTES = 1024
"""The plain port is only read from."""
_LOG = logging.getLogger(__name__)


def prepare(settings: Settings, now: datetime) -> Authority:
    """All that must be right before anything is served: private keys, authority, a certificate for today's names."""
    files = Files(settings.data_dir)
    asked = plain(settings.lan_host)
    if asked is not None and not asked.is_unspecified and not is_private(asked):
        raise CannotStart(f"lan_host: {asked} lies in no house; the certificates of a house are for no other address.")
    authority = ensure_authority(files, settings.house_name, now)
    ensure_house(files, authority, names_now(settings), now)
    check_private(files.house)
    return authority


def names_now(settings: Settings) -> tuple[str, ...]:
    """By what a phone may call this house at this moment: its name first, then its addresses."""
    return (settings.house_name, *present(settings.lan_host))


def web_address(name: str, port: int, scheme: str = "https") -> str:
    address = plain(name)
    host = f"[{name}]" if address is not None and address.version == 6 else name
    return f"{scheme}://{host}:{port}/"


def describe(settings: Settings, names: tuple[str, ...], authority: Authority) -> Trust:
    first, *others = [web_address(name, settings.lan_port) for name in names]
    # Only the addresses: to a phone that can't look the name up yet it would be a dead end.
    trust = tuple(web_address(name, settings.lan_http_port, "http") for name in (names[1:] or names))
    return Trust(names, first, tuple(others), trust, authority.fingerprint)


class OpenHouse:
    """Both doors and the watch, in threads of this process.

    changed: called whenever its names may have changed. largest_body: the largest that the app takes of anybody.
    """

    def __init__(
        self, settings: Settings, app: Callable[..., Any], changed: Callable[[], object], largest_body: int
    ) -> None:
        self.settings = settings
        self.changed = changed
        self.files = Files(settings.data_dir)
        self.names = names_now(settings)
        self.authority = prepare(settings, ports.now())
        self.certificate = Certificate(self.files.house)
        self.door = Door(settings.lan_host, settings.lan_port, app, largest_body=largest_body)
        self.door.ssl_adapter = self.certificate
        handout = make_handout(self.describe, self.authority.der())
        self.handout = Door(
            settings.lan_host, settings.lan_http_port, handout, largest_body=NOTHING_TO_SAY_BYTES, threads=4
        )
        self.announcement = Announcement(settings.house_name, settings.lan_port)
        self._closing = Event()

    def open(self) -> None:
        self.changed()
        self.door.open()
        self.handout.open()
        Thread(target=self._watch, name="certificate-watch", daemon=True).start()

    def _watch(self) -> None:
        # Announcing takes seconds, so it is done here too.
        while not self._closing.is_set():
            try:
                self.look(ports.now())
            except Exception:
                _LOG.exception("the certificate could not be looked after; tried again in a minute")
            self._closing.wait(LOOK_EVERY_S)

    def look(self, now: datetime) -> bool:
        """Renew the certificate if that is due, and load it. Says whether it was."""
        self.names = names_now(self.settings)
        is_new = ensure_house(self.files, self.authority, self.names, now)
        if is_new:
            self.certificate.renew()
        self.changed()
        self.announcement.say(self.names[1:])
        return is_new

    def describe(self) -> Trust:
        return describe(self.settings, self.names, self.authority)

    def close(self) -> None:
        self._closing.set()
        self.announcement.close()
        self.handout.stop()
        self.door.stop()
