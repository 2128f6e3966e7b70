"""The doors as they stand open: the certificate changed under way, what the plain port gives, who stalls whom."""

from __future__ import annotations

import http.client
import socket
import ssl
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Event, Semaphore
from typing import Any

import pytest

from app.config import Settings
from app.network import announce, opened
from app.network.opened import OpenHouse
from tests.network.conftest import trusting
from tests.patience import PATIENCE_S
from tests.ports import free_port


class SlowApp:
    """Answers with the caller's address and scheme; under /slow only once it may."""

    def __init__(self) -> None:
        self.entered = Semaphore(0)
        self.may_answer = Event()

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> list[bytes]:
        if environ["PATH_INFO"] == "/slow":
            self.entered.release()
            assert self.may_answer.wait(PATIENCE_S)
        start("200 OK", [("Content-Type", "text/plain")])
        return [f"{environ['REMOTE_ADDR']} {environ['wsgi.url_scheme']}".encode()]


@pytest.fixture(scope="module")
def slow_app() -> SlowApp:
    return SlowApp()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, slow_app: SlowApp) -> Iterator[OpenHouse]:
    opened_to = {"lan_host": "127.0.0.1", "lan_port": free_port(), "lan_http_port": free_port()}
    with pytest.MonkeyPatch.context() as silent:
        silent.setattr(announce.Announcement, "_speak", lambda *_: None)
        house = OpenHouse(
            Settings(data_dir=tmp_path_factory.mktemp("house"), **opened_to), slow_app, lambda: None, 2**20
        )
        house.open()
        yield house
        house.close()


def connect(house: OpenHouse, context: ssl.SSLContext | None = None) -> http.client.HTTPSConnection:
    context = context or trusting(house.files.authority)
    return http.client.HTTPSConnection("127.0.0.1", house.settings.lan_port, context=context, timeout=PATIENCE_S)


def ask(house: OpenHouse, path: str = "/") -> str:
    connection = connect(house)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        assert answer.status == 200
        return answer.read().decode()
    finally:
        connection.close()


def shown_certificate(house: OpenHouse) -> bytes:
    context = trusting(house.files.authority)
    with (
        socket.create_connection(("127.0.0.1", house.settings.lan_port), timeout=PATIENCE_S) as raw,
        context.wrap_socket(raw, server_hostname="127.0.0.1") as talk,
    ):
        shown = talk.getpeercert(binary_form=True)
    assert shown is not None
    return shown


def test_the_application_hears_the_callers_own_address_and_that_it_is_https(house: OpenHouse) -> None:
    assert ask(house) == "127.0.0.1 https"


def test_a_renewed_certificate_is_shown_and_no_request_is_lost(
    house: OpenHouse, slow_app: SlowApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = [shown_certificate(house)]
    kept_open = connect(house)
    kept_open.request("GET", "/")
    kept_open.getresponse().read()
    stop = Event()

    def keep_asking() -> int:
        count = 0
        while not stop.is_set():
            assert ask(house) == "127.0.0.1 https"
            count += 1
        return count

    with ThreadPoolExecutor(8) as pool:
        slow = [pool.submit(ask, house, "/slow") for _ in range(4)]
        for _ in slow:
            assert slow_app.entered.acquire(timeout=PATIENCE_S)
        busy = [pool.submit(keep_asking) for _ in range(4)]
        for turn in range(5):
            monkeypatch.setattr(opened, "present", lambda _, turn=turn: ("127.0.0.1", f"10.0.0.{turn}"))
            assert house.look(datetime.now(UTC))
            shown.append(shown_certificate(house))
        slow_app.may_answer.set()
        assert [each.result() for each in slow] == ["127.0.0.1 https"] * 4
        stop.set()
        assert all(each.result() > 0 for each in busy)
    assert len(set(shown)) == 6
    kept_open.request("GET", "/")
    assert kept_open.getresponse().read() == b"127.0.0.1 https"
    kept_open.close()


def test_another_address_of_the_machine_is_in_the_certificate_at_the_next_look(
    house: OpenHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.look(datetime.now(UTC))
    assert not house.look(datetime.now(UTC))
    monkeypatch.setattr(opened, "present", lambda _: ("127.0.0.1", "10.1.2.3"))
    assert house.look(datetime.now(UTC))
    assert house.describe().others[-1] == f"https://10.1.2.3:{house.settings.lan_port}/"


def test_tls_older_than_1_2_is_refused(house: OpenHouse) -> None:
    context = trusting(house.files.authority)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        context.minimum_version = ssl.TLSVersion.TLSv1
        context.maximum_version = ssl.TLSVersion.TLSv1_1
    context.set_ciphers("DEFAULT@SECLEVEL=0")
    with pytest.raises(OSError, match=r"(?i)protocol|alert|eof|reset"):
        connect(house, context).connect()


def test_plain_http_gets_nothing_at_the_https_door(house: OpenHouse) -> None:
    with socket.create_connection(("127.0.0.1", house.settings.lan_port), timeout=PATIENCE_S) as talk:
        talk.sendall(b"GET / HTTP/1.1\r\nHost: chitbook.local\r\n\r\n")
        try:
            answer = talk.recv(1000)
        except ConnectionError:
            answer = b""
    assert b"200" not in answer
    assert b"127.0.0.1 http" not in answer


def test_who_connects_and_says_nothing_keeps_nobody_else_waiting(house: OpenHouse) -> None:
    silent = [socket.create_connection(("127.0.0.1", house.settings.lan_port)) for _ in range(6)]
    try:
        assert ask(house) == "127.0.0.1 https"
    finally:
        for each in silent:
            each.close()


def plain(house: OpenHouse, path: str, method: str = "GET", body: bytes | None = None) -> tuple[int, Any, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", house.settings.lan_http_port, timeout=PATIENCE_S)
    try:
        connection.request(method, path, body=body)
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read()
    finally:
        connection.close()


def test_the_plain_port_gives_the_certificate_the_steps_and_the_way_to_https(house: OpenHouse) -> None:
    status, headers, body = plain(house, "/chitbook.crt")
    assert (status, headers["Content-Type"]) == (200, "application/x-x509-ca-cert")
    assert ssl.DER_cert_to_PEM_cert(body).strip() == house.files.authority.read_text().strip()
    status, headers, body = plain(house, "/")
    page = body.decode()
    assert status == 200
    assert "script" not in headers["Content-Security-Policy"]
    for words in ("Certificate Trust Settings", "CA certificate", "Firefox", house.authority.fingerprint):
        assert words in page
    assert "<script" not in page
    status, headers, _ = plain(house, "/open")
    assert (status, headers["Location"]) == (302, f"https://chitbook.local:{house.settings.lan_port}/")


@pytest.mark.parametrize(
    "path",
    [
        "/batches",
        "/pair",
        "/static/x",
        "/authority.key",
        "/../network/authority.key",
        "/chitbook.crt/",
        "/%2e%2e/secret",
        "/sync/hello",
        "/health",
    ],
)
def test_the_plain_port_gives_nothing_else(house: OpenHouse, path: str) -> None:
    status, _, body = plain(house, path)
    assert status in (400, 404)
    assert b"PRIVATE KEY" not in body


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_the_plain_port_takes_nothing(house: OpenHouse, method: str) -> None:
    status, _, _ = plain(house, "/", method, b"code=1" if method == "POST" else None)
    assert status in (405, 501)


def test_the_steps_have_their_style_allowed_and_only_that(house: OpenHouse) -> None:
    _, headers, body = plain(house, "/")
    assert b"style=" not in body
    assert body.count(b"<style>") == 1
    assert "unsafe" not in headers["Content-Security-Policy"]


def test_no_key_is_ever_handed_out(house: OpenHouse) -> None:
    keys = [house.files.authority_key.read_bytes(), house.files.house.read_bytes()]
    for path in ("/", "/chitbook.crt", "/open"):
        _, _, body = plain(house, path)
        assert b"PRIVATE" not in body
        assert all(key not in body for key in keys)
