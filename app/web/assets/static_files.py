"""Our own style sheets, scripts and icons, under a path that names their content, so that they are kept for ever."""

from __future__ import annotations

import hashlib
from mimetypes import guess_type
from pathlib import Path

from flask import Flask, Response, abort
from werkzeug.security import safe_join

from app.config import Settings
from app.web.assets.compressed import FOR_EVER, unchanging

__all__ = ["FOLDER", "FOR_EVER", "digest_of", "init_app"]

FOLDER = Path(__file__).parents[1] / "static"
EVERYWHERE = ("tokens", "base", "layout", "forms", "tiles", "words", "ribbon", "tables", "photos")
"""The style sheets that every page needs, in the order of their layers: sent as one, for one compresses better."""

JOINED = "css/chitbook.css"
_TYPES = {".js": "text/javascript", ".webmanifest": "application/manifest+json", ".svg": "image/svg+xml"}


def init_app(app: Flask, settings: Settings) -> None:
    digest = digest_of(FOLDER)

    @app.get("/static/<version>/<path:name>")
    def static(version: str, name: str) -> Response:
        content = read(name) if version == digest else None
        if content is None:
            abort(404)
        kind = _TYPES.get(Path(name).suffix) or guess_type(name)[0] or "application/octet-stream"
        return unchanging(content, kind)

    def static_url(name: str) -> str:
        return f"/static/{digest}/{name}"

    app.add_template_global(static_url)
    app.extensions["static_url"] = static_url


def read(name: str) -> bytes | None:
    """The bytes of a static file; None where there is none."""
    if name == JOINED:
        return b"".join((FOLDER / "css" / f"{sheet}.css").read_bytes() for sheet in EVERYWHERE)
    path = safe_join(str(FOLDER), name)
    if path is None or not Path(path).is_file():
        return None
    return Path(path).read_bytes()


def digest_of(folder: Path) -> str:
    """Twelve digits that change when any file of the folder does."""
    whole = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            whole.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()[:12]
