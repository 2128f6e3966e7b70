"""What a phone is answered: an answer for each entry, by its id, whatever became of it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import event, select

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Reading
from app.judgement.flags import evaluate
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.engine import read_session, write_session
from app.store.facts import fact, find_fact
from app.store.history import get_history
from tests.examples import EXAMPLES
from tests.writing import BATCH, LOT, NOW, OTHER, Opened, Record, add_batch, charge, entry, iso, struck, water

from .conftest import Phone


def ids_kept(app: Flask) -> list[str]:
    with read_session(app.extensions["engine"]) as session:
        return list(session.scalars(select(fact.c.id).where(fact.c.kind.not_in(("intake", "charge")))))


def temperatures(app: Flask) -> list[tuple[str, float | None]]:
    with read_session(app.extensions["engine"]) as session:
        return [(each.id, each.value) for each in get_history(session, BATCH).of_shape(Reading)]


def rules(app: Flask) -> set[str]:
    with read_session(app.extensions["engine"]) as session:
        return {flag.rule for flag in evaluate(get_history(session, BATCH), NOW)}


def test_a_new_entry_is_kept_and_told_what_it_means(app: Flask, phone: Phone) -> None:
    answer = phone.send_one(water("12.5"))
    assert answer["status"] == 201
    assert answer["fact"]["values"]["value"] == 12.5
    assert answer["fact"]["seq"] > 0
    assert "12.5 °C" in answer["meaning"]["text"]
    assert answer["meaning"]["status"] in ("none", "fine", "notice", "caution", "act")
    assert ids_kept(app) == ["water-1"]


def test_an_entry_sent_again_is_kept_once_and_answered_with_its_row(app: Flask, phone: Phone) -> None:
    first, again = phone.send_one(water()), phone.send_one(water())
    assert (first["status"], again["status"]) == (201, 200)
    assert again["fact"] == first["fact"]
    assert again["meaning"] == first["meaning"]
    assert ids_kept(app) == ["water-1"]


def test_an_entry_twice_in_one_post_is_kept_once(app: Flask, phone: Phone) -> None:
    assert [each["status"] for each in phone.send(water(), water())] == [201, 200]
    assert ids_kept(app) == ["water-1"]


def test_another_content_under_a_known_id_is_refused_with_what_was_kept(app: Flask, phone: Phone) -> None:
    kept = phone.send_one(water("12"))["fact"]
    answer = phone.send_one(water("13"))
    assert answer["status"] == 422
    assert answer["current"] == kept
    assert set(answer["errors"]) == {"id"}
    assert temperatures(app) == [("water-1", 12.0)]


def test_a_correction_before_its_target_is_kept_and_waits(app: Flask, phone: Phone) -> None:
    assert phone.send_one(water("12", id="water-2", supersedes_id="water-1"))["status"] == 201
    assert phone.send_one(water("21", id="water-1"))["status"] == 201
    assert temperatures(app) == [("water-2", 12.0)]


def test_a_withdrawal_before_its_target_is_kept_and_waits(app: Flask, phone: Phone) -> None:
    answers = phone.send(struck("water-1"), water())
    assert [each["status"] for each in answers] == [201, 201]
    assert answers[0]["meaning"]["text"] == "Struck out. It stays in the record."
    assert temperatures(app) == []


@pytest.mark.parametrize(
    "wrong",
    [
        entry("grain_temperature", {"value": "12"}, id="wrong-1", supersedes_id="water-1"),
        water(id="wrong-1", batch=OTHER, supersedes_id="water-1"),
        struck("water-1", id="wrong-1", batch=OTHER),
        water(id="wrong-1", supersedes_id="wrong-1"),
    ],
    ids=["another kind", "another batch", "struck out by another batch", "itself"],
)
def test_a_correction_of_another_kind_or_batch_is_refused(app: Flask, phone: Phone, wrong: Record) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_batch(session, OTHER, charge(id="charge-other"))
    phone.send(water())
    answer = phone.send_one(wrong)
    assert (answer["status"], set(answer["errors"])) == (422, {"supersedes_id"})
    assert ids_kept(app) == ["water-1"]


def test_a_second_correction_is_told_of_the_first(app: Flask, phone: Phone) -> None:
    phone.send(water("21"))
    theirs = phone.send_one(water("12", id="theirs", supersedes_id="water-1"))["fact"]
    answer = phone.send_one(water("13", id="mine", supersedes_id="water-1"))
    assert answer["status"] == 409
    assert answer["current"] == theirs
    assert phone.send_one(water("13", id="mine", supersedes_id="theirs"))["status"] == 201
    assert temperatures(app) == [("mine", 13.0)]


@pytest.mark.parametrize(
    ("hours", "rule"),
    [(-300, "before_the_batch"), (48, "in_the_future"), (5, "in_the_future")],
)
def test_a_time_that_can_hardly_be_is_kept_and_flagged(app: Flask, phone: Phone, hours: int, rule: str) -> None:
    at = iso(NOW + timedelta(hours=hours))
    assert phone.send_one(water(at=at))["status"] == 201
    assert rule in rules(app)


def test_an_entry_after_the_end_is_kept_and_flagged(app: Flask, phone: Phone) -> None:
    phone.send(entry("finished", id="end-1", at=iso(NOW - timedelta(hours=1))))
    assert "after_the_end" not in rules(app)
    assert phone.send_one(water())["status"] == 201
    assert "after_the_end" in rules(app)


def test_an_entry_that_waited_for_days_is_kept_at_its_own_time(app: Flask, phone: Phone) -> None:
    at = NOW - timedelta(hours=1)
    answer = phone.send_one(water(at=iso(at), written_at=iso(at)))
    assert answer["status"] == 201
    assert answer["fact"]["earliest_at"] == iso(at).replace("+00:00", "Z")
    assert answer["fact"]["received_at"] == iso(NOW).replace("+00:00", "Z")


@pytest.mark.parametrize(
    ("wrong", "fields"),
    [
        (water("twelve"), {"value"}),
        (water("700"), {"value"}),
        (water(""), {"value"}),
        (water(batch="nowhere"), {"subject"}),
        (water() | {"kind": "brewed"}, {"kind"}),
        (water() | {"at": "at dawn"}, {"earliest_at", "latest_at"}),
        (water(v=2), {"v"}),
        (water(clock="sundial"), {"clock"}),
        (water(clock_offset_s=["a", "lot"]), {"clock_offset_s"}),
        (water() | {"values": {"value": 1e999}}, {""}),
        (entry("test_bag", {"vessel": "bag 1", "gross": "12", "tare": "430"}, id="wrong"), {"tare"}),
        (entry("chit_count", {"looked_at": "10", "chitted": "11"}, id="wrong"), {"looked_at"}),
        (entry("inspection", {"mould": "some", "smell": "odd"}, id="wrong"), {"mould", "smell"}),
        ({}, {"kind"}),
    ],
)
def test_what_cannot_be_read_is_refused_at_its_fields(
    app: Flask, phone: Phone, wrong: Record, fields: set[str]
) -> None:
    answer = phone.send_one(wrong)
    assert (answer["status"], set(answer["errors"])) == (422, fields)
    assert all(answer["errors"].values())
    assert "fact" not in answer
    assert ids_kept(app) == []


def test_an_entry_of_a_newer_form_says_that_the_program_is_too_old(phone: Phone) -> None:
    said = phone.send_one(water(v=2))["errors"]["v"]
    assert "newer form" in said
    assert "up to date" in said


def test_a_refused_entry_takes_no_other_with_it(app: Flask, phone: Phone) -> None:
    answers = phone.send(water(id="a"), water("much", id="b"), "no entry", water(id="c"), water("13", id="a"))
    assert [each["status"] for each in answers] == [201, 422, 422, 201, 422]
    assert ids_kept(app) == ["a", "c"]


def test_a_clock_that_is_off_puts_now_right_and_leaves_what_was_typed(app: Flask, phone: Phone) -> None:
    off = {"clock_offset_s": 600.0, "device": "Nora’s phone"}
    taken, typed = phone.send(water(id="now-1", clock="now", **off), water(id="typed-1", clock="typed", **off))
    assert taken["fact"]["earliest_at"] == "2026-03-14T09:40:00Z"
    assert typed["fact"]["earliest_at"] == "2026-03-14T09:30:00Z"
    assert "clock_off" in rules(app)
    assert phone.send_one(water(id="now-1", clock="now", **off))["fact"] == taken["fact"]


@pytest.mark.parametrize("kind", [name for name in KINDS if name != "programme_change"])
def test_an_entry_of_every_kind_is_kept_by_sync(app: Flask, phone: Phone, kind: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_batch(session, OTHER, charge(id="charge-other"))
        from app.store.packs import Pack

        session.add(Pack(id="pack-1", name="Jar 7", created_at=NOW))
    subject = "batch" if "batch" in KINDS[kind].subjects else sorted(KINDS[kind].subjects)[0]
    ids = {"batch": BATCH, "lot": LOT}
    about = {"type": subject, "id": ids.get(subject, "probe 2")}
    if KINDS[kind].shape_name == "part":
        # Grain that moves is about one of its ends.
        subject, _, end = EXAMPLES[kind]["target" if kind == "roast_charge" else "source"].partition(":")
        about = {"type": subject, "id": end}
    more = {"supersedes_id": "not here yet"} if kind == "withdrawal" else {}
    record = entry(kind, dict(EXAMPLES[kind]), id="sent-1", **more) | {"subject": about}
    answer = phone.send_one(record)
    assert answer["status"] == 201, answer
    assert ("meaning" in answer) == (subject == "batch")
    assert phone.send_one(record)["status"] == 200


def test_fifty_entries_are_taken_at_once_and_judged_once(app: Flask, phone: Phone) -> None:
    entries = [water(id=f"w{number}") for number in range(50)]
    assert [each["status"] for each in phone.send(*entries)] == [201] * 50
    said: list[str] = []
    engine = app.extensions["engine"]
    event.listen(engine, "before_cursor_execute", lambda *given: said.append(given[2]))
    phone.send(*entries)
    assert sum("ancestors" in statement for statement in said) == 1


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"not json",
        b"[]",
        b"{}",
        b'{"entries": {}}',
        b'{"entries": []}',
        b'{"entries": 7}',
        b"[" * 100_000,
        b'{"entries": "' + b"\xff" + b'"}',
    ],
)
def test_a_body_that_is_no_list_of_entries_is_refused_whole(client: FlaskClient, batch: Opened, body: bytes) -> None:
    answer = client.post("/sync/facts", data=body, content_type="application/json")
    assert answer.status_code == 422
    assert "1 to 50" in answer.get_json()["error"]["text"]


def test_a_body_of_another_kind_is_refused_whole(client: FlaskClient, batch: Opened) -> None:
    answer = client.post("/sync/facts", data={"entries": "[]"})
    assert answer.status_code == 422
    assert "1 to 50" in answer.get_json()["error"]["text"]


def test_fifty_one_entries_are_too_many_and_none_is_kept(app: Flask, client: FlaskClient, batch: Opened) -> None:
    answer = client.post("/sync/facts", json={"entries": [water(id=f"w{number}") for number in range(51)]})
    assert answer.status_code == 422
    assert ids_kept(app) == []


def test_more_bytes_than_the_server_takes_are_refused_in_json(app: Flask, client: FlaskClient, batch: Opened) -> None:
    limit = app.extensions["settings"].max_body_bytes
    answer = client.post("/sync/facts", data=b" " * (limit + 1), content_type="application/json")
    assert answer.status_code == 413
    assert answer.get_json()["error"]["status"] == 413


def test_an_entry_for_an_ended_batch_brings_its_measures_up_to_date(app: Flask, phone: Phone) -> None:
    phone.send(entry("finished", id="end-1", at=iso(NOW - timedelta(hours=1))))
    phone.send(entry("note", {"text": "Good."}, id="note-1"))
    with read_session(app.extensions["engine"]) as session:
        digest, batch = session.get_one(BatchDigest, BATCH), session.get_one(Batch, BATCH)
        assert digest.seq == batch.last_seq
        assert not digest.is_live


def test_the_answer_names_the_last_seq_of_the_house(app: Flask, client: FlaskClient, batch: Opened) -> None:
    answer: dict[str, Any] = client.post("/sync/facts", json={"entries": [water()]}).get_json()
    with read_session(app.extensions["engine"]) as session:
        found = find_fact(session, "water-1")
    assert found is not None
    assert answer["seq"] == found.seq


def test_a_phone_without_a_token_is_refused_in_json_and_nothing_is_kept(
    app: Flask, client: FlaskClient, batch: Opened
) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    answer = client.post("/sync/facts", json={"entries": [water()]})
    assert answer.status_code == 400
    assert answer.get_json()["error"]["status"] == 400
    assert ids_kept(app) == []


def test_what_is_kept_is_answered_as_kept_though_nobody_can_say_what_it_means(
    app: Flask, phone: Phone, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(*_: object) -> None:
        raise ValueError("out of every range")

    monkeypatch.setattr("app.web.entries.intake.meaning", fails)
    answer = phone.send_one(water("12.5"))
    assert answer["status"] == 201
    assert "meaning" not in answer
    assert ids_kept(app) == ["water-1"]
    assert "out of every range" in caplog.text


def test_the_first_weighing_of_a_tray_is_answered_as_its_start(phone: Phone) -> None:
    phone.send_one(entry("loaded", id="loaded-1", at=iso(NOW - timedelta(hours=1))))
    tray = entry("tray", {"vessel": "tray 1", "gross": "6.8", "tare": "0.8", "gross_unit": "kg"}, id="tray-1")
    assert phone.send_one(tray)["meaning"]["text"] == "Tray’s start kept"


def test_a_reading_is_answered_as_its_instrument_is_corrected(phone: Phone) -> None:
    about = {"type": "instrument", "id": "probe 2"}
    at = iso(NOW - timedelta(hours=1))
    phone.send_one(entry("calibrated", {"amount": "-2", "amount_unit": "c"}, id="c1", at=at) | {"subject": about})
    answer = phone.send_one(water("14.5", instrument="probe 2"))
    assert "12.5 °C" in answer["meaning"]["text"]


@pytest.mark.parametrize("typed", [{}, {"as_is": "2", "moisture": "12"}])
@pytest.mark.parametrize("quality", ["over_range", "not_possible", "all_well"])
@pytest.mark.parametrize("kind", [name for name in KINDS if "batch" in KINDS[name].subjects])
def test_whatever_nobody_could_read_is_answered(phone: Phone, kind: str, quality: str, typed: dict[str, str]) -> None:
    """A phone whose entry is answered by an error page would send it for ever."""
    said = {name: text for name, text in typed.items() if name in KINDS[kind].fields}
    assert phone.send_one(entry(kind, said, id="said-1", quality=quality))["status"] in (201, 409, 422)
