"""Taking the record away: what there is, the export, the backup."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from flask import Flask

from app.exchange.records import import_records
from app.store.data import get_holdings
from app.store.engine import make_engine, read_session, write_session
from app.store.schema import head_revision, inspect_file, upgrade
from app.version import VERSION
from tests.writing import add_batch


@pytest.fixture(autouse=True)
def _one_batch(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)


def figure(page: str, name: str) -> str:
    return page.split(f"<dt>{name}</dt><dd>")[1].split("<")[0].strip()


def test_the_page_counts_what_there_is(client):
    page = client.get("/data").text
    found = {name: figure(page, name) for name in ("Entries", "Lots", "Batches", "People")}
    assert found == {"Entries": "2", "Lots": "1", "Batches": "1", "People": "0"}


def test_the_page_says_what_is_kept_where(client, settings):
    page = client.get("/data").text
    assert str(settings.data_dir) in page
    assert f"schema revision {head_revision()}" in page
    assert VERSION in page
    assert "chitbook restore FILE" in page


def test_the_export_is_a_file_of_json_lines(client):
    answer = client.get("/data/export")
    assert answer.headers["Content-Disposition"].endswith('.jsonl"')
    records = [json.loads(line) for line in answer.text.splitlines()]
    assert [record["kind"] for record in records if record["record"] == "fact"] == ["intake", "charge"]


def test_the_export_reads_into_an_empty_folder(app, client, tmp_path):
    lines = client.get("/data/export").text.splitlines()
    engine = make_engine(f"sqlite:///{tmp_path / 'other.sqlite'}")
    upgrade(engine)
    with write_session(engine) as session:
        import_records(session, lines)
    with read_session(engine) as there, read_session(app.extensions["engine"]) as here:
        assert get_holdings(there) == get_holdings(here)
    engine.dispose()


def test_the_backup_is_a_sound_database_with_everything_in_it(client, tmp_path):
    answer = client.get("/data/backup")
    assert "attachment" in answer.headers["Content-Disposition"]
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes(answer.data)
    assert inspect_file(copy, thoroughly=True) == head_revision()
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT count(*) FROM fact").fetchone() == (2,)


def test_no_copy_stays_behind_on_the_server(client, settings, tmp_path, monkeypatch):
    aside = tmp_path / "aside"
    aside.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(aside))
    answer = client.get("/data/backup")
    assert answer.data.startswith(b"SQLite format 3")
    answer.close()
    assert list(aside.iterdir()) == []
    assert sorted(path.name for path in Path(settings.data_dir).glob("*.part")) == []


def test_a_backup_can_be_taken_while_somebody_writes(app, client):
    with write_session(app.extensions["engine"]) as session:
        add_batch(session, "batch-2")
        assert client.get("/data/backup").status_code == 200
