"""The page that says how a phone comes to trust the house: one for all, without script, readable before any trust."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from pathlib import Path
from string import Template

_FILE = Path(__file__).with_name("trust.html")


@dataclass(frozen=True)
class Trust:
    """The house as its network sees it. names: its own first, then its present addresses; address, others: the same by
    https; trust_addresses: where this page stands."""

    names: tuple[str, ...]
    address: str
    others: tuple[str, ...]
    trust_addresses: tuple[str, ...]
    fingerprint: str

    @property
    def name(self) -> str:
        return self.names[0]


@lru_cache(maxsize=1)
def _template() -> str:
    return _FILE.read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def style_digest() -> str:
    """The one style that the content policy of this page lets through, by its digest."""
    style = re.search(r"<style>(.*?)</style>", _template(), re.DOTALL)
    assert style is not None
    return "sha256-" + base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()


def trust_page(trust: Trust) -> str:
    links = "".join(f'<li><a href="{escape(other)}">{escape(other)}</a></li>' for other in trust.others)
    return Template(_template()).substitute(
        name=escape(trust.name),
        address=escape(trust.address),
        others=links,
        fingerprint=escape(trust.fingerprint),
    )
