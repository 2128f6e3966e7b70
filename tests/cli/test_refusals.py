"""What a start refuses: one line, exit code 2, and nothing changed."""

import os
import socket
import sqlite3
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from .conftest import Command, QuickCommand, Server, snapshot

Start = Callable[..., Server]


@pytest.fixture(params=["alone", "shared"])
def taken_port(request: pytest.FixtureRequest) -> Iterator[int]:
    """A port on which another program listens: for itself, or ready to share it in silence."""
    with socket.socket() as other:
        if request.param == "shared":
            if not hasattr(socket, "SO_REUSEPORT"):
                pytest.skip("this system shares no ports")
            other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        other.bind(("127.0.0.1", 0))
        other.listen()
        yield other.getsockname()[1]


def damage_everything(database: Path) -> None:
    database.write_bytes(b"This was a database once. " * 400)


def damage_the_end(database: Path) -> None:
    with database.open("rb+") as file:
        file.truncate(database.stat().st_size // 2)


def damage_a_page(database: Path) -> None:
    with database.open("rb+") as file:
        file.seek(3 * 4096)
        file.write(b"\xff" * 4096)


def test_a_taken_port_is_refused(taken_port: int, command: Command, folder: Path) -> None:
    before = snapshot(folder)
    assert f"Port {taken_port} " in command.refused("serve", "--data", folder, "--port", taken_port)
    assert snapshot(folder) == before


def test_a_taken_port_makes_no_folder(taken_port: int, quick: QuickCommand, tmp_path: Path) -> None:
    quick.refused("serve", "--data", tmp_path / "new", "--port", taken_port)
    assert not (tmp_path / "new").exists()


def test_a_second_server_on_the_folder_is_refused_and_the_first_goes_on(
    start: Start, command: Command, folder: Path
) -> None:
    first = start("--data", folder)
    before = snapshot(folder)
    line = command.refused("serve", "--data", folder, "--port", "0")
    assert f"Another Chitbook is using {folder} (process {first.process.pid}" in line
    assert snapshot(folder) == before
    assert first.answers()


def test_a_folder_that_cannot_be_made_is_refused(quick: QuickCommand, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    assert "can't be made" in quick.refused("serve", "--data", tmp_path / "file" / "below", "--port", "0")
    assert "can't be" in quick.refused("serve", "--data", tmp_path / "file", "--port", "0")
    assert (tmp_path / "file").read_text() == "not a folder"


@pytest.mark.skipif(sys.platform != "linux", reason="/proc is a folder in which even root can't write")
def test_a_folder_that_cannot_be_written_is_refused(command: Command) -> None:
    assert "can't be written" in command.refused("serve", "--data", "/proc/self", "--port", "0")


if hasattr(os, "geteuid") and os.geteuid() != 0:  # nothing is closed to root

    def test_a_folder_closed_to_us_is_refused(command: Command, folder: Path) -> None:
        folder.chmod(0o500)
        try:
            assert "can't be written" in command.refused("serve", "--data", folder, "--port", "0")
        finally:
            folder.chmod(0o700)


def test_a_newer_database_is_refused(quick: QuickCommand, folder: Path) -> None:
    with sqlite3.connect(folder / "chitbook.sqlite") as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'ffffffffffff'")
    connection.close()
    before = snapshot(folder)
    assert "newer Chitbook (revision ffffffffffff)" in quick.refused("serve", "--data", folder, "--port", "0")
    assert snapshot(folder) == before


@pytest.mark.parametrize("damage", [damage_everything, damage_the_end, damage_a_page])
@pytest.mark.parametrize("words", [("serve", "--port", "0"), ("upgrade",), ("export",), ("backup", "copy.sqlite")])
def test_a_damaged_database_is_refused(
    damage: Callable[[Path], None], words: tuple[str, ...], quick: QuickCommand, folder: Path
) -> None:
    damage(folder / "chitbook.sqlite")
    before = snapshot(folder)
    assert "is damaged" in quick.refused(words[0], "--data", folder, *words[1:])
    assert snapshot(folder) == before
    assert not list(quick.home.iterdir())


def test_a_database_of_another_program_is_refused(quick: QuickCommand, tmp_path: Path) -> None:
    folder = tmp_path / "theirs"
    folder.mkdir()
    with sqlite3.connect(folder / "chitbook.sqlite") as connection:
        connection.execute("CREATE TABLE recipe (id INTEGER PRIMARY KEY)")
    connection.close()
    before = snapshot(folder)
    assert "not one of Chitbook's" in quick.refused("serve", "--data", folder, "--port", "0")
    assert snapshot(folder) == before


def test_a_damaged_secret_is_refused(quick: QuickCommand, folder: Path) -> None:
    (folder / "secret").write_text("short")
    assert "is damaged" in quick.refused("serve", "--data", folder, "--port", "0")


@pytest.mark.parametrize(
    ("words", "environment", "said"),
    [
        (("--port", "many"), {}, "--port: 'many'"),
        (("--host", "no.such.host.invalid"), {}, "no.such.host.invalid is no address"),
        (("--host", "192.0.2.1"), {"CHITBOOK_TRUSTED_PROXIES": "192.0.2.2"}, "of 192.0.2.1 can't be used"),
        (("--host", "192.0.2.1"), {}, "others would read along"),
        (("--host", "0.0.0.0"), {}, "others would read along"),
        (("--lan",), {"CHITBOOK_LAN_NAME": "two words"}, "CHITBOOK_LAN_NAME: 'two words'"),
        ((), {"CHITBOOK_ZONE": "Nowhere"}, "CHITBOOK_ZONE: 'Nowhere'"),
    ],
)
def test_a_bad_setting_is_refused(
    words: tuple[str, ...], environment: dict[str, str], said: str, quick: QuickCommand, tmp_path: Path
) -> None:
    assert said in quick.refused("serve", "--data", tmp_path / "new", *words, **environment)
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("words", [("upgrade",), ("backup", "copy"), ("export",), ("rebuild",)])
def test_a_folder_without_database_is_refused(words: tuple[str, ...], quick: QuickCommand, tmp_path: Path) -> None:
    assert "There is no database in" in quick.refused(words[0], "--data", tmp_path / "none", *words[1:])
    assert not (tmp_path / "none").exists()
