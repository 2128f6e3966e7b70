"""Our own style sheets, scripts and icons, under a path that names their content, so that they are kept for ever."""

from __future__ import annotations

import hashlib
from pathlib import Path

from flask import Flask, Response, abort, send_from_directory

from app.config import Settings

FOLDER = Path(__file__).parent / "static"
FOR_EVER = "public, max-age=31536000, immutable"


def init_app(app: Flask, settings: Settings) -> None:
    digest = digest_of(FOLDER)

    @app.get("/static/<version>/<path:name>")
    def static(version: str, name: str) -> Response:
        if version != digest:
            abort(404)
        response = send_from_directory(FOLDER, name)
        response.headers["Cache-Control"] = FOR_EVER
        response.headers.pop("Content-Disposition", None)
        response.direct_passthrough = False
        return response

    def static_url(name: str) -> str:
        return f"/static/{digest}/{name}"

    app.add_template_global(static_url)
    app.extensions["static_url"] = static_url


def digest_of(folder: Path) -> str:
    """Twelve digits that change when any file of the folder does."""
    whole = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            whole.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()[:12]
