"""What a door takes of whom: bodies no larger than anybody may send, and no peer so slow that it keeps others out.

How long a peer may be silent is set far beyond a test's patience where that must not matter: what is seen to be served
is served because the slow ones give way.
"""

from __future__ import annotations

import contextlib
import http.client
import socket
import ssl
import tracemalloc
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from threading import Event, Semaphore
from typing import Any

import pytest
from flask import Flask

from app.config import Settings
from app.network import announce
from app.network.crowd import MOST_FROM_ONE
from app.network.doors import Door
from app.network.opened import OpenHouse
from app.web.access.gate import STRANGERS_BYTES
from tests.network.conftest import trusting
from tests.network.phone import Phone, paired
from tests.ports import free_port

LARGEST = 4 * 2**20
SLOW = 40
PIECE = bytes(64 * 1024)


class App:
    """Answers, reads, sends much, or waits, as its path says."""

    def __init__(self) -> None:
        self.entered = Semaphore(0)
        self.may_answer = Event()

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> list[bytes]:
        path, body, times = environ["PATH_INFO"], b"yes", 1
        if path == "/read":
            body = b"%d" % len(environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"])))
        elif path == "/much":
            body, times = PIECE, 256
        elif path == "/wait":
            self.entered.release()
            assert self.may_answer.wait(60)
        start("200 OK", [("Content-Length", str(times * len(body)))])
        return [body] * times


@pytest.fixture(scope="module")
def served() -> App:
    return App()


@pytest.fixture(scope="module")
def opened_house(tmp_path_factory: pytest.TempPathFactory, served: App) -> Iterator[OpenHouse]:
    opened_to = {"lan_host": "127.0.0.1", "lan_port": free_port(), "lan_http_port": free_port()}
    with pytest.MonkeyPatch.context() as silent:
        silent.setattr(announce.Announcement, "_speak", lambda *_: None)
        settings = Settings(data_dir=tmp_path_factory.mktemp("house"), **opened_to)
        house = OpenHouse(settings, served, lambda: None, LARGEST)
        house.open()
        yield house
        house.close()


@pytest.fixture
def house(opened_house: OpenHouse) -> OpenHouse:
    for door in (opened_house.door, opened_house.handout):
        door.timeout = 600
    return opened_house


def port_of(door: Door) -> int:
    return int(door.bind_addr[1])


def raw(door: Door, number: int = 1) -> socket.socket:
    """A connection from one of the loopback's addresses. Where there is but one, that of the machine."""
    address = ("127.0.0.1", port_of(door))
    try:
        return socket.create_connection(address, timeout=30, source_address=(f"127.0.0.{number}", 0))
    except OSError:
        return socket.create_connection(address, timeout=30)


def talk(house: OpenHouse, door: Door, number: int = 1) -> socket.socket:
    """A connection on which one can speak."""
    found = raw(door, number)
    if door is house.handout:
        return found
    return trusting(house.files.authority).wrap_socket(found, server_hostname="127.0.0.1")


def head(path: str = "/", *lines: str, method: str = "GET") -> bytes:
    return "\r\n".join((f"{method} {path} HTTP/1.1", "Host: chitbook.local", *lines, "", "")).encode()


def answer(talk: socket.socket, sent: bytes) -> tuple[int, bytes]:
    talk.sendall(sent)
    found = http.client.HTTPResponse(talk)
    found.begin()
    return found.status, found.read()


def is_closed(talk: socket.socket) -> bool:
    """Whether the other end hangs up; waits for it for as long as a connection of these tests may wait."""
    with contextlib.suppress(TimeoutError):
        try:
            while talk.recv(2**16):
                pass
        except TimeoutError:
            raise
        except OSError:
            pass
        return True
    return False


@pytest.fixture(params=["door", "handout"])
def door(request: pytest.FixtureRequest, house: OpenHouse) -> Door:
    found: Door = getattr(house, request.param)
    return found


def test_a_body_larger_than_anything_taken_is_refused_before_it_comes(house: OpenHouse, door: Door) -> None:
    with talk(house, door) as one:
        assert answer(one, head("/", "Content-Length: 300000000", method="POST"))[0] == 413
        assert is_closed(one)


@pytest.mark.parametrize(
    "line", ["Transfer-Encoding: chunked", "Content-Length: -1", "Content-Length: 1_0", "Content-Length: x"]
)
def test_a_body_that_does_not_say_how_large_it_is_is_refused(house: OpenHouse, door: Door, line: str) -> None:
    with talk(house, door) as one:
        assert answer(one, head("/read", line, method="POST"))[0] == 400
        assert is_closed(one)


def test_a_head_without_end_is_refused(house: OpenHouse, door: Door) -> None:
    with talk(house, door) as one:
        status, _ = answer(one, head()[:-2] + b"X-More: " + bytes(70000).replace(b"\0", b"a") + b"\r\n" * 300)
        assert status in (400, 413)


def test_what_nobody_reads_of_a_body_takes_no_room(house: OpenHouse, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(house.door, "max_request_body_size", 64 * 2**20)
    tracemalloc.start()
    try:
        with talk(house, house.door) as one:
            one.sendall(head("/", f"Content-Length: {400 * len(PIECE)}", method="POST"))
            for _ in range(399):
                one.sendall(PIECE)
            assert answer(one, PIECE) == (200, b"yes")
            assert answer(one, head()) == (200, b"yes")
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 40 * len(PIECE)


def say_nothing(house: OpenHouse, door: Door, number: int) -> socket.socket:
    return raw(door, number)


def half_a_greeting(house: OpenHouse, door: Door, number: int) -> socket.socket:
    found = raw(door, number)
    found.sendall(b"\x16\x03\x01\x02\x00\x01")
    return found


def half_a_head(house: OpenHouse, door: Door, number: int) -> socket.socket:
    found = talk(house, door, number)
    found.sendall(head()[:-2])
    return found


def half_a_body(house: OpenHouse, door: Door, number: int) -> socket.socket:
    found = talk(house, door, number)
    found.sendall(head("/read", "Content-Length: 60000", method="POST") + b"a")
    return found


def no_ear(house: OpenHouse, door: Door, number: int) -> socket.socket:
    found = talk(house, door, number)
    found.sendall(head("/much"))
    return found


def half_of_what_nobody_reads(house: OpenHouse, door: Door, number: int) -> socket.socket:
    found = talk(house, door, number)
    found.sendall(head("/", "Content-Length: 60000", method="POST") + b"a")
    return found


@pytest.mark.parametrize("come_from", ["one", "many"])
@pytest.mark.parametrize(
    "slow", [say_nothing, half_a_greeting, half_a_head, half_a_body, no_ear, half_of_what_nobody_reads]
)
def test_forty_slow_connections_do_not_keep_the_next_one_waiting(
    house: OpenHouse, door: Door, slow: Callable[..., socket.socket], come_from: str
) -> None:
    with contextlib.ExitStack() as kept:
        for number in range(SLOW):
            kept.enter_context(slow(house, door, 1 if come_from == "one" else number + 2))
        with talk(house, door) as one:
            assert answer(one, head())[0] == 200


def test_who_is_being_answered_gives_way_to_nobody(house: OpenHouse, served: App) -> None:
    def ask(number: int) -> tuple[int, bytes]:
        with talk(house, house.door, number) as one:
            return answer(one, head("/wait"))

    with contextlib.ExitStack() as kept, ThreadPoolExecutor(6) as pool:
        asked = [pool.submit(ask, 1) for _ in range(6)]
        for _ in asked:
            assert served.entered.acquire(timeout=60)
        for _ in range(SLOW):
            kept.enter_context(raw(house.door))
        served.may_answer.set()
        assert [each.result(60) for each in asked] == [(200, b"yes")] * 6


def test_one_peer_holds_a_few_connections_and_its_oldest_goes_first(house: OpenHouse, door: Door) -> None:
    with contextlib.ExitStack() as kept:
        held = [kept.enter_context(raw(door)) for _ in range(MOST_FROM_ONE + 3)]
        assert all(is_closed(each) for each in held[:3])
        with talk(house, door) as one:
            assert answer(one, head())[0] == 200
            held[-1].settimeout(0)
            with pytest.raises(BlockingIOError):
                held[-1].recv(1)


def test_a_connection_kept_open_between_requests_counts_too(house: OpenHouse) -> None:
    with contextlib.ExitStack() as kept:
        first = kept.enter_context(talk(house, house.door))
        assert answer(first, head())[0] == 200
        for _ in range(MOST_FROM_ONE):
            assert answer(kept.enter_context(talk(house, house.door)), head())[0] == 200
        assert is_closed(first)


@pytest.mark.parametrize("slowly", [head()[:-2], head("/read", "Content-Length: 60000", method="POST")])
def test_who_sends_too_little_at_a_time_is_hung_up_on(house: OpenHouse, slowly: bytes) -> None:
    """One byte after another, each soon after the last: what counts is the whole."""
    house.door.timeout = 2
    pause = Event()
    with talk(house, house.door) as one:
        with contextlib.suppress(OSError):
            one.sendall(slowly)
            for _ in range(150):
                one.sendall(b"a")
                pause.wait(0.2)
            pytest.fail("it may go on for ever")
        assert is_closed(one)


def test_a_large_body_that_comes_in_good_time_is_taken_however_long_it_lasts(house: OpenHouse) -> None:
    house.door.timeout = 1
    pause = Event()
    with talk(house, house.door) as one:
        one.sendall(head("/read", f"Content-Length: {12 * len(PIECE)}", method="POST"))
        for _ in range(11):
            one.sendall(PIECE)
            pause.wait(0.2)
        assert answer(one, PIECE) == (200, b"%d" % (12 * len(PIECE)))


def test_of_a_stranger_the_house_reads_a_small_form_only(app: Flask, house: OpenHouse) -> None:
    stranger = Phone(app)
    too_much = {"code": "A" * STRANGERS_BYTES, "name": "x"}
    assert stranger.post("/pair", data=too_much).status_code == 413
    assert stranger.pair("AAAA BBBB CCCC").status_code == 422
    assert paired(app, name="Attic").post("/people/theme", data={"theme": "A" * STRANGERS_BYTES}).status_code == 303


def test_the_certificate_is_asked_for_by_the_dozen_and_handed_out(house: OpenHouse) -> None:
    for _ in range(30):
        with talk(house, house.handout) as one:
            assert answer(one, head("/chitbook.crt"))[0] == 200


def test_a_greeting_broken_off_harms_nobody(house: OpenHouse) -> None:
    for _ in range(20):
        raw(house.door).close()
    with pytest.raises(ssl.SSLError), raw(house.door) as one:
        ssl.create_default_context().wrap_socket(one, server_hostname="127.0.0.1")
    with talk(house, house.door) as one:
        assert answer(one, head()) == (200, b"yes")
