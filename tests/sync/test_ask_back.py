"""An entry whose writer is still there may be asked about before it is kept; unasked, it is kept and flagged."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.writing import NOW, Opened, Record, entry, iso, water

from .conftest import Phone


def asked(client: FlaskClient, record: Record, ask: Any = "water-1") -> dict[str, Any]:
    answer: dict[str, Any] = client.post("/sync/facts", json={"entries": [record], "ask": ask}).get_json()["answers"][0]
    return answer


def test_a_likely_slip_is_asked_about_and_not_kept(client: FlaskClient, phone: Phone) -> None:
    answer = asked(client, water("59"))
    assert answer["status"] == 422
    (question,) = answer["questions"]
    assert question["alternative"] == {"value": "59", "value_unit": "f"}
    assert "Is it" in question["message"]
    assert phone.send_one(water("59"))["status"] == 201


def test_what_its_writer_insists_on_is_kept_unasked(client: FlaskClient, phone: Phone) -> None:
    record = water("59")
    record["typed"]["insisted"] = "1"
    assert asked(client, record)["status"] == 201


def test_a_repeat_is_answered_with_its_row_and_not_asked_about(client: FlaskClient, phone: Phone) -> None:
    phone.send_one(water("59"))
    assert asked(client, water("59"))["status"] == 200


@pytest.mark.parametrize("ask", ["another", None, 7, ["water-1"], {}])
def test_only_the_entry_that_is_named_is_asked_about(client: FlaskClient, phone: Phone, ask: Any) -> None:
    assert asked(client, water("59"), ask)["status"] == 201


def test_what_cannot_be_read_is_refused_and_not_asked_about(client: FlaskClient, phone: Phone) -> None:
    answer = asked(client, water("much"))
    assert (answer["status"], set(answer["errors"]), "questions" in answer) == (422, {"value"}, False)


def test_a_phone_whose_clock_is_off_is_asked_by_the_time_put_right(client: FlaskClient, phone: Phone) -> None:
    ahead = NOW + timedelta(hours=3)
    told = {"at": iso(ahead), "clock": "now"}
    assert "still to come" in asked(client, water(**told))["questions"][0]["message"]
    assert asked(client, water(**told, clock_offset_s=-3 * 3600.0))["status"] == 201


def test_the_tare_that_was_forgotten_is_offered(client: FlaskClient, phone: Phone) -> None:
    bag = {"vessel": "bag 1", "gross_unit": "g"}
    phone.send_one(entry("test_bag_start", bag | {"gross": "530", "tare": "230"}, id="start", at=iso(NOW)))
    late = entry("test_bag", bag | {"net": "533", "net_unit": "g"}, id="water-1", at=iso(NOW + timedelta(minutes=1)))
    answer = asked(client, late)
    assert "tare" in answer["questions"][0]["alternative"], answer


def test_the_sheet_of_a_batch_tells_ranges_in_every_unit_and_what_was_said_last(
    client: FlaskClient, phone: Phone, batch: Opened
) -> None:
    phone.send(entry("steep_on", id="on-1", at=iso(NOW - timedelta(hours=1))), water("12.5"))
    sheet = client.get(f"/sync/batches/{batch.id}").get_json()
    assert sheet["stage"] == "immersion"
    assert sheet["starts"]["cast"] == "germination"
    assert "water_temperature" in sheet["needs"]
    assert "turned" not in sheet["needs"]
    warm = sheet["ranges"]["immersion"]["water_temperature"]["value"]
    for place in range(1, 7):
        assert warm["f"][place] == pytest.approx(warm["c"][place] * 9 / 5 + 32, rel=1e-3)
    assert [each["id"] for each in sheet["last"]][:2] == ["water-1", "on-1"]


def test_of_each_kind_the_sheet_tells_the_gravest_first(client: FlaskClient, batch: Opened) -> None:
    grave = client.get(f"/sync/batches/{batch.id}").get_json()["grave"]
    for kind, rows in grave.items():
        found = [row[2] for row in rows]
        assert found == sorted(found, key=["act", "caution", "notice"].index), kind
    assert [row[0] for row in grave["inspection"]].index("ergot") < [row[1] for row in grave["inspection"]].index(
        "brown"
    )


def test_a_tray_heavier_than_its_batch_is_asked_about(client: FlaskClient, phone: Phone) -> None:
    phone.send_one(entry("loaded", id="loaded-1", at=iso(NOW - timedelta(hours=1))))
    tray = entry("tray", {"vessel": "tray 1", "gross": "1400", "gross_unit": "kg"}, id="water-1")
    (question,) = asked(client, tray)["questions"]
    assert question["alternative"] == {"gross": "1400", "gross_unit": "g"}
    assert asked(client, tray | {"typed": tray["typed"] | {"gross_unit": "g"}})["status"] == 201


def test_the_sheet_of_a_batch_tells_how_heavy_what_is_weighed_of_it_may_be(
    client: FlaskClient, phone: Phone, batch: Opened
) -> None:
    masses = client.get(f"/sync/batches/{batch.id}").get_json()["masses"]
    # Of 25 kg at 13 %: 2.2 times as much, and as much again for a tray that nobody weighed empty.
    assert masses["tray"]["net"]["kg"][4] == pytest.approx(55.0)
    assert masses["tray"]["gross"]["kg"][4] == pytest.approx(80.0)
    assert masses["tray"]["net"]["g"][4] == pytest.approx(55_000.0)
    assert masses["skimmings"]["of"]["kg"][4] == pytest.approx(55.0)
    assert set(masses["outturn"]["gross"]) == {"kg", "g", "lb", "oz"}
    assert "charge" not in masses


def test_there_is_no_sheet_of_an_unknown_batch(client: FlaskClient, batch: Opened) -> None:
    assert client.get("/sync/batches/nowhere").status_code == 404


def test_an_open_page_is_told_only_of_its_own_batch(client: FlaskClient, phone: Phone, batch: Opened) -> None:
    phone.send(water(id="a"))
    seq = client.get("/changes").get_json()["seq"]
    asking = {"after": seq, "batch": batch.id}
    assert client.get("/changes", query_string=asking).status_code == 204
    elsewhere = entry("note", {"text": "swept"}, id="n") | {"subject": {"type": "house", "id": "house"}}
    phone.send(elsewhere)
    assert client.get("/changes", query_string=asking).status_code == 204
    phone.send(water(id="b"))
    assert client.get("/changes", query_string=asking).get_json()["seq"] > seq
    assert client.get("/changes", query_string=asking | {"batch": "nowhere"}).status_code == 204
