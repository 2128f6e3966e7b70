"""What a batch is, and what its facts mean: pure functions, with the moment to judge at as an argument."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

_JUDGED_BY = ("judgement", "science")
_ENDINGS = {".py", ".toml", ".csv"}


@lru_cache(maxsize=1)
def rules_version() -> int:
    """A digest of the sources that judge: what was remembered under another one is judged anew.

    31 bits, for it is kept in a database. Two versions are the same or not; neither is the later.
    """
    return version_of(Path(__file__).parents[1])


def version_of(app: Path) -> int:
    """The version of the rules whose sources lie in this folder."""
    digest = hashlib.sha256()
    for file in sorted(file for layer in _JUDGED_BY for file in (app / layer).rglob("*") if file.suffix in _ENDINGS):
        digest.update(file.relative_to(app).as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    return int.from_bytes(digest.digest()[:4], "big") >> 1
