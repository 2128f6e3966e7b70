"""A phone in the house network: its address, its cookies, and the name by which it calls the house."""

from __future__ import annotations

import re
from typing import Any

from flask import Flask
from werkzeug.test import TestResponse

from app.store.devices import MAY_LOG, Device, list_devices
from app.store.engine import read_session

HOUSE = "https://chitbook.local:8443"
ADDRESS = "192.168.7.20"


class Phone:
    def __init__(self, app: Flask, address: str = ADDRESS, base: str = HOUSE) -> None:
        self.app = app
        self.client = app.test_client()
        self.address = address
        self.base = base

    def get(self, path: str, **more: Any) -> TestResponse:
        return self._ask("GET", path, **more)

    def post(self, path: str, **more: Any) -> TestResponse:
        return self._ask("POST", path, **more)

    def _ask(self, method: str, path: str, **more: Any) -> TestResponse:
        environ = {"REMOTE_ADDR": self.address, **more.pop("environ", {})}
        return self.client.open(path, method=method, base_url=self.base, environ_overrides=environ, **more)

    def pair(self, code: str, name: str = "Malt floor") -> TestResponse:
        return self.post("/pair", data={"code": code, "name": name})


def code_from(desk: Any, role: str = "may_log", person: str = "") -> str:
    """A pairing code, as the desk's page shows it."""
    page = desk.post("/devices", data={"role": role, "person": person})
    assert page.status_code == 201, page.text
    found = re.search(r'pairing-code">([0-9A-Z ]+)<', page.text)
    assert found is not None
    return found[1]


def paired(app: Flask, role: str = MAY_LOG, name: str = "Malt floor", **more: Any) -> Phone:
    phone = Phone(app, **more)
    answer = phone.pair(code_from(app.test_client(), role), name)
    assert answer.status_code == 303, answer.text
    return phone


def device_row(app: Flask) -> Device:
    with read_session(app.extensions["engine"]) as session:
        return list_devices(session)[0]


def revoke(app: Flask) -> None:
    assert app.test_client().post(f"/devices/{device_row(app).id}/revoke").status_code == 303
