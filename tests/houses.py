"""The folder of a house, made ready to be served."""

from __future__ import annotations

import shutil
from pathlib import Path
from zoneinfo import ZoneInfo

from app.config import Settings
from app.folder import ensure_secret


def furnished(folder: Path, database: Path) -> Settings:
    """The settings of a house with a copy of this database."""
    shutil.copy(database, folder / "chitbook.sqlite")
    ensure_secret(folder / "secret")
    return Settings(data_dir=folder, zone=ZoneInfo("Europe/Dublin"))
