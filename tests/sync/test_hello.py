"""How a flush begins: is the server there, what time has it, and with which token does one write."""

from __future__ import annotations

from datetime import datetime

from flask import Flask
from flask.testing import FlaskClient

from app.version import VERSION
from tests.writing import NOW, Opened, water


def test_hello_tells_time_version_and_a_token_that_works(app: Flask, client: FlaskClient, batch: Opened) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    answer = client.get("/sync/hello")
    said = answer.get_json()
    assert answer.status_code == 200
    assert datetime.fromisoformat(said["server_time"]) == NOW
    assert said["version"] == VERSION
    headers = {"X-CSRFToken": said["csrf_token"]}
    kept = client.post("/sync/facts", json={"entries": [water()]}, headers=headers)
    assert kept.get_json()["answers"][0]["status"] == 201


def test_the_token_of_one_phone_is_of_no_use_to_another(app: Flask, client: FlaskClient, batch: Opened) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    headers = {"X-CSRFToken": client.get("/sync/hello").get_json()["csrf_token"]}
    other = app.test_client()
    assert other.post("/sync/facts", json={"entries": [water()]}, headers=headers).status_code == 400


def test_hello_is_never_kept_by_a_cache(client: FlaskClient, batch: Opened) -> None:
    assert client.get("/sync/hello").headers["Cache-Control"] == "no-store"
