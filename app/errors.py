"""The few ways in which a request, or a start, can be refused. Each says whether trying again helps."""

from collections.abc import Mapping
from typing import Any, ClassVar


class ChitbookError(Exception):
    """Anything the program refuses on purpose; the message is fit to be read by a person."""

    is_worth_retrying: ClassVar[bool] = False
    """Whether the same request, sent again unchanged, can succeed."""


class NotFound(ChitbookError):
    """What was asked for is not here. Trying again does not help."""

    def __init__(self, noun: str, key: object) -> None:
        super().__init__(f"There is no {noun} {key}.")
        self.noun = noun
        self.key = key


class Rejected(ChitbookError):
    """What was sent can't be kept as it stands; `fields` says for each field what to do. Trying again does not help.

    A message that belongs to no single field stands under the empty name.
    """

    def __init__(self, fields: Mapping[str, str]) -> None:
        if not fields:
            raise ValueError("a rejection names at least one field")
        super().__init__(" ".join(fields.values()))
        self.fields = dict(fields)


class KeptOtherwise(Rejected):
    """This id is already kept, with another content: `current`. What was sent is no repeat; make it a correction."""

    def __init__(self, current: Any) -> None:
        super().__init__({"id": "This entry is already kept, with other values. To change it, correct what was kept."})
        self.current = current


class Conflict(ChitbookError):
    """Something else is already kept in its place: `current`. Trying again unchanged does not help; look first."""

    def __init__(self, current: Any, message: str = "Something else has been kept here in the meantime.") -> None:
        super().__init__(message)
        self.current = current


class Unavailable(ChitbookError):
    """The database was busy for too long. Nothing was stored, and trying again helps."""

    is_worth_retrying = True


class CannotStart(ChitbookError):
    """A command can't do its work here; the message is the one line that the person reads."""
