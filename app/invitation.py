"""What the terminal says to whoever wants to bring a phone in: where to trust, where to pair, and a code to read."""

from __future__ import annotations

import sys

import segno

from app import ports
from app.config import Settings
from app.errors import CannotStart
from app.network.authority import Authority, load_authority
from app.network.files import Files
from app.network.house import names_in, read_house
from app.network.opened import describe
from app.network.trust_page import Trust
from app.operations.devices import make_code
from app.store.devices import DESK, MAY_LOG, MAY_MANAGE, ROLES
from app.store.engine import open_database, write_session


def announce_network(settings: Settings) -> None:
    """At the start: the addresses; and a code too, if somebody sits there to see it. In a log it would be a leak."""
    house = _house(settings)
    print(
        f"Phones: {' or '.join((house.address, *house.others))}, paired; a new one first opens "
        f"{' or '.join(house.trust_addresses)} and is told to trust this house, by the certificate with the "
        f"fingerprint {house.fingerprint}.",
        flush=True,
    )
    if sys.stdout.isatty():
        _show_code(settings, house.address, MAY_LOG)
    else:
        print("`chitbook pair` makes a code that lets one in.", flush=True)


def invite(settings: Settings, *, may_manage: bool) -> None:
    """A code for one phone, as a picture and as text."""
    # Where both are open, the proxy's certificate is the one that needs no steps.
    address = settings.proxied_addresses[0] if settings.proxied_addresses else _house(settings).address
    _show_code(settings, address, MAY_MANAGE if may_manage else MAY_LOG)


def _show_code(settings: Settings, house_address: str, role: str) -> None:
    with open_database(settings.database_url) as engine, write_session(engine) as session:
        code = make_code(session, role=role, person_id=None, made_by=DESK, now=ports.now())
    # Behind a # the code is never sent: it stands in no log.
    address = f"{house_address}pair#{code}"
    print(f"This lets one phone in that {ROLES[role]}, within ten minutes:\n{address}", flush=True)
    segno.make_qr(address, error="m").terminal(out=sys.stdout, compact=True)
    sys.stdout.flush()


def _house(settings: Settings) -> Trust:
    files = Files(settings.data_dir)
    certificate = read_house(files)
    if certificate is None:
        raise CannotStart("The house was never opened to its network: start it with `chitbook serve --lan` first.")
    authority: Authority = load_authority(files)
    return describe(settings, names_in(certificate), authority)
