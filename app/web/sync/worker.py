"""The service worker: our script, told which files of this version open the app without a connection."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator

from app.web.assets.static_files import JOINED, read

ENTRANCES = ("js/app.js", "js/tub.js", "js/correct.js")
BESIDE = (JOINED, "icons/chitbook.svg", "icons/touch-180.png", "icons/chitbook.webmanifest")
_IMPORTED = re.compile(r"""(?:from|import)\s*\(?\s*"\./([a-z0-9_-]+\.js)\"""")


def worker_script(static_url: Callable[[str], str]) -> str:
    """The text of /sw.js: another text for another version of any static file."""
    files = [static_url(name) for name in (*BESIDE, *sorted(scripts()))]
    version = static_url("").strip("/").rpartition("/")[2]
    source = (read("js/sw.js") or b"").decode()
    return f"const VERSION = {json.dumps(version)};\nconst FILES = {json.dumps(files)};\n{source}"


def scripts() -> set[str]:
    """The entrance scripts, and whatever they import."""
    names: set[str] = set()
    waiting = list(ENTRANCES)
    while waiting:
        name = waiting.pop()
        if name not in names:
            names.add(name)
            waiting += _imports(name)
    return names


def _imports(name: str) -> Iterator[str]:
    for module in _IMPORTED.findall((read(name) or b"").decode()):
        yield f"js/{module}"
