"""What hundreds of applications and databases of one run needn't each work out anew, for it is the same in all of them.

Files that are the same for all are made by one of the processes of the run.

An application of a test has 90 addresses, and an engine of a test some fifty statements: compiling those was a third of
what the tests cost. They are compiled once for the run; all else of an application or an engine is its own.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import CodeType
from typing import Any

import pytest
from flask import Flask
from jinja2 import FileSystemBytecodeCache
from jinja2.bccache import Bucket
from sqlalchemy import Engine, create_engine
from werkzeug.routing import Rule

from app.store import engine as store_engine
from app.web.assets import static_files
from tests.patience import wait_until

_builders: dict[tuple[object, ...], Callable[..., tuple[str, str]]] = {}


class _SharedRule(Rule):
    """A rule whose way from values to an address is compiled once for all maps: it finds its converters itself."""

    def _compile_builder(self, append_unknown: bool = True) -> Callable[..., tuple[str, str]]:
        told = (self.rule, tuple(self._trace), repr(self.defaults), append_unknown)
        if told not in _builders:
            _builders[told] = super()._compile_builder(append_unknown)
        return _builders[told]


def _first_dialect() -> Engine:
    """An engine whose dialect has met SQLite, and so knows what this SQLite can do."""
    engine = create_engine("sqlite://")
    engine.connect().close()
    engine.dispose()
    return engine


_first = _first_dialect()


def _sharing_engine(*words: Any, **options: Any) -> Engine:
    """An engine on its own database, with the statements that any other of SQLite has compiled."""
    engine = create_engine(*words, **options)
    if engine.name == _first.name:
        # The key of a compiled statement holds the dialect itself: another's is never found.
        engine.dialect = engine.pool._dialect = _first.dialect
        engine._compiled_cache = _first._compiled_cache
    return engine


class Templates(FileSystemBytecodeCache):
    """Templates compiled once for all applications of a run, and read once by each process."""

    def __init__(self, folder: Path) -> None:
        super().__init__(str(folder))
        self.known: dict[tuple[str, str], CodeType] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self.known.get((bucket.key, bucket.checksum))
        if bucket.code is None:
            super().load_bytecode(bucket)
            self._keep(bucket)

    def dump_bytecode(self, bucket: Bucket) -> None:
        super().dump_bytecode(bucket)
        self._keep(bucket)

    def _keep(self, bucket: Bucket) -> None:
        if bucket.code is not None:
            self.known[bucket.key, bucket.checksum] = bucket.code


def share() -> None:
    """From now on, in this process."""
    Flask.url_rule_class = _SharedRule
    store_engine.create_engine = _sharing_engine
    static_files.digest_of = cache(static_files.digest_of)


def shared_folder(factory: pytest.TempPathFactory) -> Path:
    """A folder that all processes of this run see."""
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "shared"
    folder.mkdir(exist_ok=True)
    return folder


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """A file for all processes of this run, never to be written to: whoever comes first makes it, the others wait."""
    path = shared_folder(factory) / name
    try:
        path.with_suffix(".claimed").touch(exist_ok=False)
    except FileExistsError:
        wait_until(path.exists)
        return path
    begun = path.with_suffix(".begun")
    make(begun)
    return begun.rename(path)
