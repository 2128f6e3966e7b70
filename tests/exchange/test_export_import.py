"""The whole record as JSON lines, into an empty record and out of it again: the same, or nothing at all."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from flask import Flask
from sqlalchemy import select
from sqlalchemy.orm import Session

from app import create_app, ports
from app.config import Settings
from app.errors import Rejected
from app.exchange.records import export_records, import_records
from app.judgement.facts.kinds import KINDS
from app.judgement.programmes.programme import load_builtin, revise
from app.operations.digests import rebuild
from app.operations.facts import record_fact
from app.operations.people import add_person
from app.operations.programmes import keep_programme
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.engine import make_sessionmaker, open_database, write_session
from app.store.history import get_history
from app.store.types import canonical_json
from tests.examples import EXAMPLES
from tests.houses import furnished
from tests.writing import (
    BATCH,
    LOT,
    NOW,
    OTHER,
    Record,
    add_batch,
    add_lot,
    charge,
    count_facts,
    entry,
    fill_jar,
    water,
)

TOKEN = re.compile(r'(?<=name="csrf_token" value=")[^"]+')
PAGES = (
    "/",
    "/batches",
    "/batches/1",
    "/batches/1/tub",
    "/batches/2",
    "/lots",
    f"/lots/{LOT}",
    "/compare?b=1,2",
    "/programmes",
    "/people",
)
LISTED_APART = frozenset({"charge", "intake", "split", "merge", "roast_charge", "pack", "flag_answer", "withdrawal"})


@pytest.fixture
def empty(tmp_path: Path, migrated_file: Path) -> Iterator[Session]:
    """A record of its own with nothing in it but the built-in programmes."""
    folder = tmp_path / "other"
    folder.mkdir()
    shutil.copy(migrated_file, folder / "chitbook.sqlite")
    with open_database(f"sqlite:///{folder / 'chitbook.sqlite'}") as engine, make_sessionmaker(engine)() as session:
        yield session


def tell_everything(session: Session) -> None:
    """A house with something of each sort: a person, a programme of its own, a lot, two batches, a pack, any kind."""
    add_person(session, person_id="p1", name="Nora", units="us", now=NOW)
    mine = revise(load_builtin()["barley_pale"], {"name": "Pale, our way"})
    keep_programme(session, mine, now=NOW)
    add_lot(session)
    add_batch(session)
    add_batch(session, OTHER, charge(id="charge-other"))
    fill_jar(session)
    for number, name in enumerate(KINDS):
        if name not in LISTED_APART:
            record_fact(session, _example(name, number, mine.digest), now=NOW)
    record_fact(session, water("21", id="water-1", clock="now", clock_offset_s=90.0), now=NOW)
    record_fact(session, water("12", id="water-2", supersedes_id="water-1", note="é\n½"), now=NOW)
    record_fact(session, entry("flag_answer", dict(EXAMPLES["flag_answer"]), id="answer-1"), now=NOW)
    record_fact(session, entry("withdrawal", id="waits-1", supersedes_id="not here yet"), now=NOW)
    rebuild(session, NOW)


def _example(name: str, number: int, programme: str) -> Record:
    typed = dict(EXAMPLES[name]) or ({"programme": programme} if name == "programme_change" else {})
    subject = next(
        each for each in ("batch", "lot", "pack", "vessel", "instrument", "house") if each in KINDS[name].subjects
    )
    subject = "pack" if name == "dispatch" else subject
    ids = {"batch": BATCH, "lot": LOT, "pack": "pack-1"}
    record = entry(name, typed, id=f"{name}-{number}", person="Nora", place="top")
    return record | {"subject": {"type": subject, "id": ids.get(subject, "probe 2")}}


def lines_of(session: Session) -> list[str]:
    return [canonical_json(record) + "\n" for record in export_records(session)]


@pytest.fixture
def told(session: Session) -> list[str]:
    tell_everything(session)
    session.commit()
    return lines_of(session)


def test_an_export_read_into_an_empty_record_gives_the_same_export(told: list[str], empty: Session) -> None:
    facts = [line for line in told if json.loads(line)["record"] == "fact"]
    assert import_records(empty, told) == len(facts) == count_facts(empty)
    assert lines_of(empty) == told


def test_the_stories_and_the_measures_are_the_same_afterwards(
    session: Session, told: list[str], empty: Session
) -> None:
    import_records(empty, told)
    for batch_id in (BATCH, OTHER):
        ours, theirs = get_history(session, batch_id), get_history(empty, batch_id)
        assert [fact.id for fact in ours.facts] == [fact.id for fact in theirs.facts]
        assert ours.batch == theirs.batch
        assert ours.programme == theirs.programme
    assert set(empty.scalars(select(BatchDigest.batch_id))) == {BATCH, OTHER}
    for batch in empty.scalars(select(Batch)):
        digest = empty.get_one(BatchDigest, batch.id)
        assert digest.seq == batch.last_seq > 0


def test_a_phone_that_sends_again_after_an_import_is_told_that_it_is_here(told: list[str], empty: Session) -> None:
    import_records(empty, told)
    record = water("21", id="water-1", clock="now", clock_offset_s=90.0)
    assert not record_fact(empty, record, now=NOW).is_new


def test_both_folders_show_the_same_pages(
    app: Flask, told: list[str], tmp_path: Path, migrated_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = _served(tmp_path / "other", migrated_file, app.extensions["settings"])
    with write_session(other.extensions["engine"]) as session:
        import_records(session, told)
    monkeypatch.setattr(ports, "now", lambda: NOW)
    monkeypatch.setattr(ports, "new_id", lambda: "an id")
    ours, theirs = app.test_client(), other.test_client()
    for path in PAGES:
        answer = ours.get(path)
        assert answer.status_code == 200, path
        assert TOKEN.sub("", theirs.get(path).text) == TOKEN.sub("", answer.text), path
    other.extensions["engine"].dispose()


@pytest.mark.parametrize(
    ("at", "zone"),
    [
        ("0001-01-01T00:00:00Z", "America/New_York"),
        ("0202-03-14T09:00:00Z", "America/New_York"),
        ("9999-12-31T23:59:59Z", "Pacific/Auckland"),
    ],
)
def test_an_older_export_with_impossible_times_is_read_and_every_page_opens(
    told: list[str], tmp_path: Path, migrated_file: Path, settings: Settings, at: str, zone: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """An entry of every kind there is, each at a time that would be refused today."""
    monkeypatch.setattr(ports, "now", lambda: NOW)
    other = _served(tmp_path / "third", migrated_file, replace(settings, zone=ZoneInfo(zone)))
    records = [json.loads(line) for line in told]
    facts = [each for each in records if each["record"] == "fact"]
    for each in facts:
        each |= {"earliest_at": at, "latest_at": at, "written_at": at}
    with write_session(other.extensions["engine"]) as session:
        assert import_records(session, map(json.dumps, records)) == len(facts)
        assert len(lines_of(session)) == len(told)
    client = other.test_client()
    own = [
        f"/batches/1{page}" for page in ("/ahead", "/power-cut", "/tests", "/split", "/merge", "/pack", "/programme")
    ]
    more = ["/packs", "/packs/pack-1", "/packs/pack-1/label", "/packs/pack-1/sheet", "/house", "/batches/roast"]
    said = [f"/facts/{each['id']}/{page}" for each in facts for page in ("correct", "photos")]
    for path in (*PAGES, *own, *more, f"/batches/new?lot={LOT}", "/compare?batch=1&batch=2", *said):
        struck = path.endswith("/correct") and "waits-1" in path
        assert client.get(path).status_code == (404 if struck else 200), path
    other.extensions["engine"].dispose()


def _served(folder: Path, migrated_file: Path, like: Settings) -> Flask:
    folder.mkdir()
    other = create_app(replace(furnished(folder, migrated_file), zone=like.zone))
    other.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    return other


@pytest.mark.parametrize(
    "begin",
    [
        lambda session: add_lot(session, "lot-9", "Hill"),
        lambda session: add_person(session, person_id="p9", name="Ada", units="us", now=NOW),
        lambda session: keep_programme(session, revise(load_builtin()["rye"], {"name": "Our rye"}), now=NOW),
    ],
    ids=["a lot", "a person", "a programme of the house"],
)
def test_a_record_with_anything_in_it_takes_no_import(
    begin: Callable[[Session], object], told: list[str], empty: Session
) -> None:
    begin(empty)
    before = lines_of(empty)
    with pytest.raises(Rejected, match="empty folder"):
        import_records(empty, told)
    assert lines_of(empty) == before


def without(told: list[str], kind: str) -> list[str]:
    return [line for line in told if json.loads(line).get("record") != kind]


def changed(told: list[str], sort: str, /, **values: Any) -> list[str]:
    """The first record of a sort with other values in it."""
    place = next(place for place, line in enumerate(told) if json.loads(line)["record"] == sort)
    return [*told[:place], json.dumps(json.loads(told[place]) | values), *told[place + 1 :]]


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda told: [], "empty"),
        (lambda told: ["\n", "  \n"], "empty"),
        (lambda told: told[:-1], "cut off"),
        (lambda told: told[: len(told) // 2], "cut off"),
        (lambda told: told[:5], "cut off"),
        (lambda told: [*told[:-2], told[-2][:40]], "cut off"),
        (lambda told: [*told[:9], *told[10:]], "cut off"),
        (lambda told: told + told, "put together"),
        (lambda told: told[1:], "no export"),
        (lambda told: ["[1]\n", *told], "no record"),
        (lambda told: ['{"record": "chitbook", "format": 2}\n', *told[1:]], "format 2"),
        (lambda told: ["not json\n"], "not JSON"),
        (lambda told: [*told[:-1], told[-2], told[-1]], "doesn't fit"),
        (lambda told: changed(told, "fact", kind="brewed"), "brewed"),
        (lambda told: changed(told, "fact", received_at="2026-03-14T09:30:00"), "offset"),
        (lambda told: changed(told, "fact", body_sha256=None), "doesn't fit"),
        (lambda told: changed(told, "batch", programme="f" * 64), "doesn't fit"),
        (lambda told: changed(told, "batch", created_at="lately"), "can't be read"),
        (lambda told: changed(told, "lot", record="parcel"), "can't be read"),
        (lambda told: without(told, "programme"), "doesn't fit"),
    ],
)
def test_a_spoilt_export_is_refused_with_what_is_wrong_with_it(
    spoil: Callable[[list[str]], list[str]], said: str, told: list[str], empty: Session
) -> None:
    before = lines_of(empty)
    with pytest.raises(Rejected, match=said):
        import_records(empty, spoil(told))
    empty.rollback()
    assert lines_of(empty) == before
