"""What hundreds of applications and databases of one run needn't each work out anew, for it is the same in all of them.

An application of a test has 90 addresses, and an engine of a test some fifty statements: compiling those was a third of
what the tests cost. They are compiled once for the run; all else of an application or an engine is its own.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Flask
from sqlalchemy import Engine, create_engine
from werkzeug.routing import Rule

from app.store import engine as store_engine

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


def share() -> None:
    """From now on, in this process."""
    Flask.url_rule_class = _SharedRule
    store_engine.create_engine = _sharing_engine
