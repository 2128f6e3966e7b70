"""The only clock and the only source of identities. Everything else is handed its `now` and its ids."""

import secrets
from datetime import UTC, datetime
from uuid import uuid4


def now() -> datetime:
    """The present moment, aware, in UTC."""
    return datetime.now(UTC)


def new_id() -> str:
    """A fresh random UUID (version 4) in its canonical 36-character form."""
    return str(uuid4())


def new_token() -> str:
    """A fresh secret of 256 bits that can stand in an address: 43 letters, digits, - and _."""
    return secrets.token_urlsafe(32)


def new_code() -> str:
    """A fresh secret of 60 bits that a person can type: twelve signs that are not mistaken for one another."""
    return "".join(secrets.choice("0123456789ABCDEFGHJKMNPQRSTVWXYZ") for _ in range(12))
