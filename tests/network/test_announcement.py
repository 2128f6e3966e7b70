"""The house's name on its network: a convenience that never stands in the way."""

from __future__ import annotations

from typing import Any

import pytest
import zeroconf

from app.network.announce import Announcement


def test_a_network_that_takes_no_announcement_stops_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(**_: object) -> None:
        raise OSError("no multicast here")

    monkeypatch.setattr(zeroconf, "Zeroconf", fail)
    announcement = Announcement("chitbook.local", 8443)
    announcement.say(["192.168.7.5"])
    assert announcement.trouble == "no multicast here"
    announcement.say([])
    assert "no address" in announcement.trouble
    announcement.close()


def test_the_name_is_announced_for_the_present_addresses_and_anew_when_they_change(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    said: list[Any] = []

    class Speaker:
        def __init__(self, interfaces: list[str]) -> None:
            said.append(interfaces)

        def register_service(self, info: zeroconf.ServiceInfo) -> None:
            said.append((info.server, info.port, info.parsed_addresses()))

        def close(self) -> None:
            said.append("closed")

    monkeypatch.setattr(zeroconf, "Zeroconf", Speaker)
    announcement = Announcement("malthouse.local", 8443)
    for addresses in (["192.168.7.5"], ["192.168.7.5"], ["192.168.7.9"]):
        announcement.say(addresses)
    announcement.close()
    assert said == [
        ["192.168.7.5"], ("malthouse.local.", 8443, ["192.168.7.5"]), "closed",
        ["192.168.7.9"], ("malthouse.local.", 8443, ["192.168.7.9"]), "closed",
    ]  # fmt: skip
