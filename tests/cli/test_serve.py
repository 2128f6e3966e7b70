"""`chitbook serve`: what it makes, and how it stops."""

import os
import signal
import socket
import sqlite3
import stat
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.judgement.programmes.programme import load_builtin
from tests.patience import PATIENCE_S, wait_until
from tests.ports import free_port

from .conftest import Command, Server

Start = Callable[..., Server]
linux_only = pytest.mark.skipif(sys.platform != "linux", reason="looks for the worker in /proc")
posix_only = pytest.mark.skipif(os.name != "posix", reason="modes and signals as POSIX has them")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@posix_only
def test_the_folder_in_the_home_is_made_private_with_secret_database_and_the_built_in_programmes(
    start: Start, command: Command
) -> None:
    server = start("--port", 0)
    assert server.get("/health") == 200
    (database,) = command.home.rglob("chitbook.sqlite")
    folder = database.parent
    assert str(folder) in server.greeting
    assert mode(folder) == 0o700
    assert {mode(path) for path in folder.iterdir()} == {0o600}
    assert "secret" in {path.name for path in folder.iterdir()}
    with closing(sqlite3.connect(database)) as connection:
        (offered,) = connection.execute("SELECT count(*) FROM programme WHERE is_offered").fetchone()
    assert offered == len(load_builtin())


@posix_only
@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_stops_it_at_once_and_quietly(by: int, start: Start, folder: Path) -> None:
    # The tests themselves may run under something that ignores the signal, and a child would inherit that.
    earlier = signal.signal(by, signal.default_int_handler if by == signal.SIGINT else signal.SIG_DFL)
    try:
        server = start("--data", folder)
    finally:
        signal.signal(by, earlier)
    assert server.stop(by=by) == (0, "")
    assert not list(folder.glob("chitbook.sqlite-*")), "a stopped server leaves one tidy database file"
    assert server.is_port_free()


@linux_only
def test_a_server_told_to_outlive_its_terminal_does(start: Start, folder: Path) -> None:
    earlier = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        server = start("--data", folder)
    finally:
        signal.signal(signal.SIGHUP, earlier)
    worker = server.worker()
    os.killpg(server.process.pid, signal.SIGHUP)
    assert server.answers()
    assert server.worker() == worker
    assert server.stop() == (0, "")


@posix_only
def test_ctrl_c_reaches_the_worker_too_and_all_stop(start: Start, folder: Path) -> None:
    server = start("--data", folder)
    os.killpg(server.process.pid, signal.SIGINT)
    _, said = server.process.communicate(timeout=PATIENCE_S)
    assert (server.process.returncode, said) == (0, "")


def test_it_stops_though_a_request_never_ends(start: Start, folder: Path) -> None:
    server = start("--data", folder)
    with socket.create_connection(("127.0.0.1", server.port)) as stuck:
        stuck.sendall(b"POST /health HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nhalf")
        assert server.stop()[0] == 0
    assert server.is_port_free()


@linux_only
def test_no_worker_outlives_a_killed_server(start: Start, folder: Path) -> None:
    server = start("--data", folder, "--port", free_port())
    server.process.kill()
    server.process.wait()
    wait_until(server.is_port_free)
    start("--data", folder, "--port", server.port)


def test_the_next_server_may_have_the_same_port_at_once_and_keeps_the_secret(start: Start, tmp_path: Path) -> None:
    folder = tmp_path / "new" / "malthouse"
    first = start("--data", folder, "--port", free_port())
    assert str(folder) in first.greeting
    secret = (folder / "secret").read_text()
    assert len(secret) >= 32
    first.get("/health")
    first.stop()
    assert start("--data", folder, "--port", first.port).port == first.port
    assert (folder / "secret").read_text() == secret
