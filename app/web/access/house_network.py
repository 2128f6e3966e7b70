"""What the pages know of the house as its network sees it; nothing, where it is not opened to one."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Flask, current_app

from app.config import Settings
from app.network.trust_page import Trust


@dataclass(frozen=True)
class HouseAddresses:
    """By which phones reach this server.

    addresses: by https, the one with the steady name first. hosts: the same as they stand in a Host header; none
    where a proxy stands in front, whose names the settings have. The rest is about our own certificate, if it is ours.
    """

    addresses: tuple[str, ...]
    hosts: frozenset[str]
    trust_addresses: tuple[str, ...]
    fingerprint: str


def house_addresses() -> HouseAddresses | None:
    """As it is opened by us, or by a proxy in front; None where it is not open to the network."""
    found: HouseAddresses | None = current_app.extensions.get("opened")
    settings: Settings = current_app.extensions["settings"]
    if found is None and settings.proxied_addresses:
        return HouseAddresses(settings.proxied_addresses, frozenset(), (), "")
    return found


def tell(app: Flask, house: Trust) -> None:
    """Let the pages know by which names the house is called now."""
    hosts = frozenset(f"[{name}]" if ":" in name else name for name in house.names)
    addresses = (house.address, *house.others)
    app.extensions["opened"] = HouseAddresses(addresses, hosts, house.trust_addresses, house.fingerprint)
