"""What a page that is open asks every few seconds: has anything come since?"""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from app.judgement.facts.records import fact_from_record
from tests.writing import Opened, water

from .conftest import Phone


def test_what_came_since_is_told_in_order_of_arrival(client: FlaskClient, phone: Phone) -> None:
    phone.send(water(id="a"))
    since = client.get("/changes").get_json()["seq"]
    phone.send(water(id="c"), water(id="b"))
    answer = client.get(f"/changes?after={since}")
    assert [each["id"] for each in answer.get_json()["facts"]] == ["c", "b"]
    assert answer.get_json()["seq"] == since + 2
    assert [fact_from_record(each).id for each in answer.get_json()["facts"]] == ["c", "b"]


def test_nothing_new_is_said_without_a_body(client: FlaskClient, phone: Phone) -> None:
    phone.send(water())
    since = client.get("/changes").get_json()["seq"]
    answer = client.get(f"/changes?after={since}")
    assert (answer.status_code, answer.data) == (204, b"")


def test_a_long_absence_is_made_up_for_in_several_answers(client: FlaskClient, phone: Phone) -> None:
    sent = [f"w{number}" for number in range(230)]
    for begin in range(0, len(sent), 50):
        phone.send(*(water(id=fact_id) for fact_id in sent[begin : begin + 50]))
    since, told = client.get("/changes").get_json()["facts"][1]["seq"], []
    while (answer := client.get(f"/changes?after={since}")).status_code == 200:
        told += [each["id"] for each in answer.get_json()["facts"]]
        since = answer.get_json()["seq"]
    assert told == sent


@pytest.mark.parametrize("after", ["", "-1", "all", "1.5", "٣", "9" * 20, "9" * 5000])
def test_a_number_that_is_none_breaks_nothing(client: FlaskClient, batch: Opened, after: str) -> None:
    assert client.get("/changes", query_string={"after": after}).status_code in (200, 204)
