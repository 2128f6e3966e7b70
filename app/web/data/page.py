"""Copies of the record to take away: the database as one file, and everything that was said as JSON lines."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from flask import Response, stream_with_context
from sqlalchemy.orm import Session

from app.config import Settings
from app.exchange.records import export_records
from app.store import copies
from app.store.types import canonical_json


def file_name(suffix: str, now: datetime, settings: Settings) -> str:
    return f"chitbook-{now.astimezone(settings.zone):%Y-%m-%d-%H%M}.{suffix}"


def exported(session: Session, name: str) -> Response:
    """Every record as a line of JSON, sent while it is read: the whole is never held in memory."""
    response = Response(stream_with_context(_lines(session)), mimetype="application/x-ndjson")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["Cache-Control"] = "no-store"
    return response


def _lines(session: Session) -> Iterator[str]:
    for record in export_records(session):
        yield canonical_json(record) + "\n"


def backed_up(settings: Settings, name: str) -> Response:
    """A copy of the database as one file, made now; the copy on this side is gone once it was sent."""
    folder = Path(tempfile.mkdtemp(prefix="chitbook-"))
    try:
        copies.back_up(settings.database_file, folder / name)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    response = Response(_pieces(folder / name), mimetype="application/vnd.sqlite3")
    response.content_length = (folder / name).stat().st_size
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["Cache-Control"] = "no-store"
    # Also where nobody ever asked for the first piece.
    response.call_on_close(lambda: shutil.rmtree(folder, ignore_errors=True))
    return response


def _pieces(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while piece := file.read(1 << 16):
                yield piece
    finally:
        shutil.rmtree(path.parent, ignore_errors=True)


def kept_backups(settings: Settings) -> list[str]:
    """The copies in the data folder, made before each upgrade and each restore; the newest first."""
    if not settings.backup_dir.is_dir():
        return []
    return sorted((path.name for path in settings.backup_dir.glob("*.sqlite")), reverse=True)


def size_words(path: Path) -> str:
    size = path.stat().st_size / 1024
    return f"{size:.0f}\u00a0kB" if size < 1024 else f"{size / 1024:.1f}\u00a0MB"
