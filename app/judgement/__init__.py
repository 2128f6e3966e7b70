"""What a batch is, and what its facts mean: pure functions, with the moment to judge at as an argument."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

_JUDGED_BY = ("judgement", "science")
_ENDINGS = {".py", ".toml", ".csv"}


@lru_cache(maxsize=1)
def rules_version() -> int:
    """Which rules these are, by the sources that make them up: what was remembered by others is judged anew.

    31 bits of a digest, for it is kept in a database. No order: another version is older or newer.
    """
    return version_of(Path(__file__).parents[1])


def version_of(app: Path) -> int:
    """The version of the rules whose sources lie in this folder."""
    digest = hashlib.sha256()
    for file in sorted(file for room in _JUDGED_BY for file in (app / room).rglob("*") if file.suffix in _ENDINGS):
        digest.update(file.relative_to(app).as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    return int.from_bytes(digest.digest()[:4], "big") >> 1
