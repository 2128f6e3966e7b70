"""Where the keys and certificates lie, and that nobody else can read the keys."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from app.errors import CannotStart

FOLDER = "network"


class Files:
    """The paths in the data folder."""

    def __init__(self, data_dir: Path) -> None:
        self.folder = data_dir / FOLDER
        self.authority_key = self.folder / "authority.key"
        self.authority = self.folder / "authority.crt"
        self.house = self.folder / "house.pem"
        """The house's own certificate and its key in one file, so that both are replaced at one stroke."""


def make_private_folder(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise CannotStart(f"The folder {folder} can't be made: {error.strerror}.") from error


def write_private(path: Path, content: bytes) -> None:
    """Put a file in its place, whole and flushed, for this user only from its first byte on."""
    part = path.with_name(f"{path.name}.part")
    part.unlink(missing_ok=True)
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise CannotStart(f"{path} can't be written: {error.strerror}.") from error


def check_private(path: Path) -> None:
    """Refuse a key that others on this machine can read: whoever has it can pose as this house to every phone."""
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise CannotStart(
            f"The key {path} can be read by others. If nobody can have copied it: chmod 600 {path}. "
            f"Else remove the folder {path.parent}, and have every phone trust the new certificate."
        )
