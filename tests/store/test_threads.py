"""Eight people write at once, through the whole application: nothing is lost, nothing is kept twice."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from flask import Flask
from sqlalchemy import func, select
from werkzeug.test import TestResponse

from app.store.batches import Batch
from app.store.engine import read_session, write_session
from app.store.facts import fact
from tests.writing import BATCH, OTHER, add_batch, charge, water

WRITERS, EACH = 8, 12


@pytest.fixture(autouse=True)
def batches(app: Flask) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
        add_batch(session, OTHER, charge(id="charge-other"))


def kept(app: Flask) -> list[str]:
    with read_session(app.extensions["engine"]) as session:
        return sorted(session.scalars(select(fact.c.id).where(fact.c.kind == "water_temperature")))


def answered(send: Callable[[], TestResponse]) -> TestResponse:
    """The answer to what is sent until it is answered, as a phone sends it: the record may be busy meanwhile."""
    while (answer := send()).status_code == 503:
        pass
    return answer


def test_eight_writers_lose_nothing(app: Flask) -> None:
    def write(writer: int) -> list[int]:
        client = app.test_client()
        codes = []
        for number in range(EACH):
            name = f"w{writer}-{number}"
            batch = (BATCH, OTHER)[number % 2]
            if writer % 2:
                entries = {"entries": [water(id=name, batch=batch)]}
                answer = answered(lambda entries=entries: client.post("/sync/facts", json=entries))
                codes.append(answer.get_json()["answers"][0]["status"])
            else:
                sent = {"id": name, "when": "now", "water_temperature-value": "12"}
                path = f"/batches/{1 + number % 2}/tub/water_temperature"
                codes.append(answered(lambda path=path, sent=sent: client.post(path, data=sent)).status_code)
        return codes

    with ThreadPoolExecutor(WRITERS) as pool:
        codes = [code for told in pool.map(write, range(WRITERS)) for code in told]
    assert sorted(codes) == [201] * (WRITERS * EACH // 2) + [303] * (WRITERS * EACH // 2)
    assert kept(app) == sorted(f"w{writer}-{number}" for writer in range(WRITERS) for number in range(EACH))
    with read_session(app.extensions["engine"]) as session:
        last = session.scalar(select(func.max(fact.c.seq)))
        assert max(session.scalars(select(Batch.last_seq))) == last


def test_eight_phones_with_the_same_entries_keep_each_once(app: Flask) -> None:
    entries = [water(id=f"w{number}") for number in range(EACH)]

    def write(_: int) -> list[int]:
        client = app.test_client()
        answer = answered(lambda: client.post("/sync/facts", json={"entries": entries}))
        return [each["status"] for each in answer.get_json()["answers"]]

    with ThreadPoolExecutor(WRITERS) as pool:
        statuses = [status for told in pool.map(write, range(WRITERS)) for status in told]
    assert sorted(statuses) == [200] * (EACH * (WRITERS - 1)) + [201] * EACH
    assert kept(app) == sorted(each["id"] for each in entries)


def test_of_eight_corrections_of_one_entry_one_is_kept(app: Flask) -> None:
    app.test_client().post("/sync/facts", json={"entries": [water("21")]})

    def write(writer: int) -> int:
        mine = water("12", id=f"mine-{writer}", supersedes_id="water-1")
        client = app.test_client()
        answer = answered(lambda: client.post("/sync/facts", json={"entries": [mine]}))
        return int(answer.get_json()["answers"][0]["status"])

    with ThreadPoolExecutor(WRITERS) as pool:
        statuses = sorted(pool.map(write, range(WRITERS)))
    assert statuses == [201] + [409] * (WRITERS - 1)
    assert len(kept(app)) == 2
