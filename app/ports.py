"""The only clock and the only source of identities. Everything else is handed its `now` and its ids."""

from datetime import UTC, datetime
from uuid import uuid4


def now() -> datetime:
    """The present moment, aware, in UTC."""
    return datetime.now(UTC)


def new_id() -> str:
    """A fresh random UUID (version 4) in its canonical 36-character form."""
    return str(uuid4())
