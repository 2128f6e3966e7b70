"""`chitbook serve --lan` as a process: its doors, what it says, what stops it."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import ssl
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from app.config import Settings
from app.network.opened import prepare
from app.ports import now
from tests.patience import PATIENCE_S, wait_until
from tests.ports import free_port

from .conftest import Command, Server

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="looks for the worker in /proc")
posix_only = pytest.mark.skipif(os.name != "posix", reason="modes as POSIX has them")
Start = Callable[..., Server]

NAME = "console-tests"
HOUSE = f"{NAME}.local"
"""A name is unique in its network, and tests of other files may have a house of the usual name open beside."""


class Phone:
    """Calls the house by its name, over https, trusting its authority alone."""

    def __init__(self, folder: Path, port: int, house: str = HOUSE) -> None:
        self.folder, self.port, self.house = folder, port, house

    def get(self, path: str) -> tuple[int, str]:
        context = ssl.create_default_context(cafile=str(self.folder / "network" / "authority.crt"))
        with (
            socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE_S) as raw,
            context.wrap_socket(raw, server_hostname=self.house) as talk,
        ):
            asked = f"GET {path} HTTP/1.1\r\nHost: {self.house}:{self.port}\r\nConnection: close\r\n\r\n"
            talk.sendall(asked.encode())
            answer = http.client.HTTPResponse(talk)
            answer.begin()
            return answer.status, answer.read().decode()

    def is_answered(self) -> bool:
        try:
            return self.get("/pair")[0] == 200
        except ssl.SSLCertVerificationError:
            raise  # Another name than the house's: no patience helps.
        except OSError:
            return False


@pytest.fixture
def open_to_loopback(command: Command) -> tuple[int, int]:
    """The ports of a house that takes the loopback for its network."""
    ports = free_port(), free_port()
    command.environment.update(
        CHITBOOK_LAN_HOST="127.0.0.1",
        CHITBOOK_LAN_NAME=NAME,
        CHITBOOK_LAN_PORT=str(ports[0]),
        CHITBOOK_LAN_HTTP_PORT=str(ports[1]),
    )
    return ports


@linux_only
def test_phones_come_by_https_the_desk_by_http_and_both_end_quietly(
    start: Start, folder: Path, open_to_loopback: tuple[int, int]
) -> None:
    server = start("--data", folder, "--lan")
    phone = Phone(folder, open_to_loopback[0])
    wait_until(phone.is_answered)
    assert phone.get("/")[0] == 401
    assert phone.get("/sync/hello")[0] == 401
    assert server.get("/") == 200
    handout = http.client.HTTPConnection("127.0.0.1", open_to_loopback[1], timeout=PATIENCE_S)
    handout.request("GET", "/")
    assert "Certificate Trust Settings" in handout.getresponse().read().decode()
    handout.close()
    os.kill(server.worker(), signal.SIGKILL)
    wait_until(lambda: server.answers() and phone.is_answered())
    code, said = server.stop()
    assert (code, said) == (0, "")
    assert server.is_port_free()


def test_a_code_from_the_terminal_is_no_part_of_what_a_log_would_keep(
    command: Command, start: Start, folder: Path, open_to_loopback: tuple[int, int]
) -> None:
    server = start("--data", folder, "--lan")
    wait_until(Phone(folder, open_to_loopback[0]).is_answered)
    server.process.send_signal(signal.SIGTERM)
    assert server.process.stdout is not None
    # Not communicate(): a reader that took the greeting may have taken more with it.
    told = server.process.stdout.read()
    assert f"https://{HOUSE}:{open_to_loopback[0]}/" in told
    assert f"http://127.0.0.1:{open_to_loopback[1]}/" in told
    assert "#" not in told
    invited = command("pair", "--data", folder)
    assert invited.returncode == 0
    assert re.search(
        rf"^https://{re.escape(HOUSE)}:{open_to_loopback[0]}/pair#[0-9A-Z]{{12}}$", invited.stdout, re.MULTILINE
    )
    assert "█" in invited.stdout


def test_without_lan_no_door_is_open_and_no_key_is_made(
    command: Command, start: Start, folder: Path, open_to_loopback: tuple[int, int]
) -> None:
    start("--data", folder)
    for port in open_to_loopback:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
    assert not (folder / "network").exists()
    assert "never opened" in command.refused("pair", "--data", folder)


@posix_only
def test_a_key_that_others_can_read_stops_the_start(
    command: Command, folder: Path, open_to_loopback: tuple[int, int]
) -> None:
    prepare(Settings(data_dir=folder, lan=True), now())
    key = folder / "network" / "authority.key"
    assert key.stat().st_mode & 0o077 == 0
    key.chmod(0o644)
    said = command.refused("serve", "--data", folder, "--port", "0", "--lan")
    assert f"chmod 600 {key}" in said


def test_a_taken_port_for_phones_stops_the_start(
    command: Command, folder: Path, open_to_loopback: tuple[int, int]
) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", open_to_loopback[1]))
        other.listen(1)
        said = command.refused("serve", "--data", folder, "--port", "0", "--lan")
    assert f"Port {open_to_loopback[1]} of 127.0.0.1 can't be used" in said
