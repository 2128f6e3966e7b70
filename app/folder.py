"""The data folder: made private, held by one server at a time, with a secret of its own."""

import os
import secrets
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from app.errors import CannotStart

LOCK_FILE = "chitbook.lock"
DEMO_MARK = "this-folder-is-the-demo"
_KEPT_IN_DEMO = (LOCK_FILE, DEMO_MARK, "chitbook.toml", "network")
"""The certificates too: a phone that trusts the demo need not do so at each start."""


def find_bundled(name: str) -> Path:
    """The folder `name` that comes with the program: inside the package when installed, beside it in a checkout."""
    package = Path(__file__).parent
    installed = package / f"_{name}"
    return installed if installed.is_dir() else package.parent / name


def make_folder(folder: Path) -> None:
    """Make the folder, for this user only. One that is there is left as it is."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise CannotStart(f"The data folder {folder} can't be made: {error.strerror}.") from error


@contextmanager
def hold_folder(folder: Path) -> Iterator[None]:
    """Hold the folder against any other server, import, restore or upgrade, until the end of the block.

    The lock is the system's and ends with the last process that has it, so nothing is ever left behind to clean up.
    """
    path = folder / LOCK_FILE
    try:
        handle = path.open("a+", encoding="utf-8")
    except OSError as error:
        raise CannotStart(f"The data folder {folder} can't be written: {error.strerror}.") from error
    with handle:
        if not _try_lock(handle):
            handle.seek(0)
            raise CannotStart(f"Another Chitbook is using {folder} ({handle.read().strip() or 'starting'}).")
        handle.truncate(0)
        handle.write(f"process {os.getpid()}")
        handle.flush()
        yield


def ensure_secret(path: Path) -> str:
    """The secret that signs cookies; made on the first call, readable by this user only."""
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(32))
    except FileExistsError:
        pass
    except OSError as error:
        raise CannotStart(f"The secret {path} can't be written: {error.strerror}.") from error
    secret = path.read_text(encoding="ascii").strip()
    if len(secret) < 32:
        raise CannotStart(f"The secret {path} is damaged: remove the file, and a new one is made.")
    return secret


def empty_demo_folder(folder: Path) -> None:
    """Empty the demo's folder. A folder that isn't marked as the demo's, and holds anything, is never touched."""
    mark = folder / DEMO_MARK
    content = [path for path in folder.iterdir() if path.name not in _KEPT_IN_DEMO]
    if content and not mark.exists():
        raise CannotStart(f"{folder} holds something that is not the demo; --demo would empty it. Name another folder.")
    mark.touch()
    for path in content:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def refuse_demo_folder(folder: Path) -> None:
    """Keep real records out of a folder that the next demo would empty."""
    if (folder / DEMO_MARK).exists():
        raise CannotStart(f"{folder} is the demo's folder, emptied at each --demo. Name another folder, or say --demo.")


if sys.platform == "win32":
    import msvcrt

    def _try_lock(handle: TextIO) -> bool:
        try:
            # A byte far behind the text: on Windows a locked byte can't be read by the one who is refused.
            handle.seek(1 << 20)
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _try_lock(handle: TextIO) -> bool:
        try:
            # flock, not lockf: it is inherited by the worker, so an orphaned worker still holds its folder.
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
