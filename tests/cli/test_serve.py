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
def test_it_makes_a_private_folder_with_secret_and_database(start: Start, tmp_path: Path) -> None:
    folder = tmp_path / "new" / "malthouse"
    server = start("--data", folder)
    assert str(folder) in server.greeting
    assert mode(folder) == 0o700
    assert {mode(path) for path in folder.iterdir()} == {0o600}
    assert {"secret", "chitbook.sqlite"} <= {path.name for path in folder.iterdir()}


def test_it_offers_the_built_in_programmes(start: Start, folder: Path) -> None:
    start("--data", folder).stop()
    with closing(sqlite3.connect(folder / "chitbook.sqlite")) as connection:
        (offered,) = connection.execute("SELECT count(*) FROM programme WHERE is_offered").fetchone()
    assert offered == len(load_builtin())


def test_the_default_folder_lies_in_the_home(start: Start, command: Command) -> None:
    server = start()
    assert str(command.home) in server.greeting
    assert list(command.home.rglob("chitbook.sqlite"))


def test_a_prepared_folder_keeps_its_secret(start: Start, folder: Path) -> None:
    start("--data", folder).stop()
    secret = (folder / "secret").read_text()
    start("--data", folder).stop()
    assert (folder / "secret").read_text() == secret
    assert len(secret) >= 32


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


def test_a_stopped_server_leaves_one_tidy_database_file(start: Start, folder: Path) -> None:
    server = start("--data", folder)
    server.get("/health")
    server.stop()
    assert not list(folder.glob("chitbook.sqlite-*"))


@linux_only
def test_a_killed_worker_is_replaced(start: Start, folder: Path) -> None:
    server = start("--data", folder)
    first = server.worker()
    os.kill(first, signal.SIGKILL)
    wait_until(lambda: server.answers() and server.worker() != first)
    assert server.stop()[0] == 0


@linux_only
def test_no_worker_outlives_a_killed_server(start: Start, folder: Path) -> None:
    server = start("--data", folder, "--port", free_port())
    server.process.kill()
    server.process.wait()
    wait_until(server.is_port_free)
    start("--data", folder, "--port", server.port)


def test_the_next_server_may_have_the_same_port_at_once(start: Start, folder: Path) -> None:
    first = start("--data", folder, "--port", free_port())
    first.get("/health")
    first.stop()
    assert start("--data", folder, "--port", first.port).port == first.port
