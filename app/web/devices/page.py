"""What the desk shows of a code: to be read by a phone's camera, and by a person."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from app.store.devices import ROLES
from app.web.access.house_network import HouseAddresses
from app.web.assets.qr import qr_svg


@dataclass(frozen=True)
class Shown:
    """A code that was just made. picture: leads a phone to the house's steady address, the code with it."""

    code: str
    role_words: str
    address: str
    picture: Markup
    others: tuple[str, ...]


def shown(code: str, role: str, house: HouseAddresses) -> Shown:
    # Behind a # the code is never sent: it stands in no log, and no other page hears of it.
    first, *others = [f"{address}pair#{code}" for address in house.addresses]
    picture = qr_svg(first, "Opens the pairing page on a phone, with the code")
    return Shown(in_groups(code), ROLES[role], house.addresses[0] + "pair", picture, tuple(others))


def trust_picture(house: HouseAddresses) -> Markup:
    return qr_svg(house.trust_addresses[0], "Opens the page on which a phone gets the certificate")


def in_groups(code: str) -> str:
    """Four signs at a time are read without losing the place."""
    return " ".join(code[start : start + 4] for start in range(0, len(code), 4))
