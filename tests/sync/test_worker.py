"""What opens the app without a connection: our worker, told which files it needs."""

from __future__ import annotations

import json
import re

from flask import Flask
from flask.testing import FlaskClient

from app.web.sync.worker import scripts
from tests.writing import Opened


def files(client: FlaskClient) -> list[str]:
    found = re.search(r"^const FILES = (\[.*\]);$", client.get("/sw.js").text, re.MULTILINE)
    assert found is not None
    kept: list[str] = json.loads(found[1])
    return kept


def test_every_file_that_the_worker_keeps_is_there(client: FlaskClient, batch: Opened) -> None:
    assert len(files(client)) > 10
    for path in files(client):
        assert client.get(path).status_code == 200, path


def test_every_script_of_a_tub_page_is_among_them(client: FlaskClient, batch: Opened) -> None:
    page = client.get(f"/batches/{batch.number}/tub").text
    sources = set(re.findall(r'<(?:script|link)[^>]+(?:src|href)="(/static/[^"]+)"', page))
    assert len(sources) > 5
    assert sources <= set(files(client))


def test_what_is_imported_only_when_needed_is_among_them(client: FlaskClient) -> None:
    assert {"js/sync.js", "js/photo_shrink.js", "js/uuid.js"} <= scripts()


def test_the_worker_is_asked_for_anew_each_time(client: FlaskClient) -> None:
    answer = client.get("/sw.js")
    assert answer.headers["Cache-Control"] == "no-cache"
    assert answer.mimetype == "text/javascript"


def test_another_version_of_the_files_is_another_worker(app: Flask, client: FlaskClient) -> None:
    before = client.get("/sw.js").data
    app.extensions["static_url"] = lambda name: f"/static/0123456789ab/{name}"
    assert client.get("/sw.js").data != before


def test_the_worker_takes_over_only_when_the_old_pages_are_closed(client: FlaskClient) -> None:
    assert "skipWaiting" not in client.get("/sw.js").text


def test_the_manifest_lets_the_app_be_installed(client: FlaskClient) -> None:
    address = re.search(r'rel="manifest" href="([^"]+)"', client.get("/").text)
    assert address is not None
    manifest = json.loads(client.get(address[1]).text)
    assert (manifest["start_url"], manifest["display"]) == ("/", "standalone")
    sizes = {size for icon in manifest["icons"] for size in icon["sizes"].split()}
    assert {"192x192", "512x512"} <= sizes
    assert any("maskable" in icon.get("purpose", "") for icon in manifest["icons"])
    for icon in manifest["icons"]:
        assert client.get(address[1].rsplit("/", 1)[0] + "/" + icon["src"]).status_code == 200
