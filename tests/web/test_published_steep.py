"""A published steep of barley, typed in as weighings of a test bag, gives its published gains back as moisture.

Molina-Cano et al. 1995, J. Inst. Brew. 101:79-83, as data set barleyh20 of the CRAN package pbANOVA: mean gain of 50 g
samples in % of their first weight, at 5, 10, 15, 20, 30 and 35 h. Their moisture at the start is not given there: 12 %
is taken, for the samples and for the expected moisture alike.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from flask.testing import FlaskClient

from app.judgement.forecasts.moisture import samples
from app.store.engine import read_session
from app.store.history import get_history
from tests.pages import Tub, insisting
from tests.writing import NOW, Opened

DATA = Path(__file__).parents[1] / "science" / "data" / "molina_cano_1995.csv"
FIRST_G, FIRST_MOISTURE = 50.0, 0.12
BEGINS = NOW - timedelta(hours=40)


def published(column: str) -> Iterator[tuple[float, float]]:
    """(hour, gain in % of the first weight)."""
    with DATA.open(encoding="utf-8") as file:
        next(file)
        for row in csv.DictReader(file):
            yield float(row["hours"]), float(row[column])


def clock(hour: float) -> str:
    return (BEGINS + timedelta(hours=hour)).astimezone(ZoneInfo("Europe/Dublin")).strftime("%Y-%m-%dT%H:%M")


def say(tub: Tub, kind: str, hour: float, **own: str) -> str:
    """Keep an entry, insisting on its time before the charge; what the page then says it means."""
    answer = tub.client.post(f"{tub.path}/{kind}", data=tub.values(kind, own, when="at", at=clock(hour)))
    if answer.status_code == 422:
        answer = tub.client.post(f"{tub.path}/{kind}", data=insisting(answer.text))
    assert answer.status_code == 303, answer.text
    return unescape(tub.client.get(str(answer.location).partition("#")[0]).text).replace("\u00a0", " ")


@pytest.mark.parametrize("column", ["slow_percent", "fast_percent"])
def test_the_published_gains_come_back_as_moisture(client: FlaskClient, tub: Tub, batch: Opened, column: str) -> None:
    say(tub, "test_bag_start", -0.5, vessel="bag 1", gross="80", gross_unit="g", tare="30", moisture="12")
    say(tub, "steep_on", 0)
    gains = list(published(column))
    assert len(gains) == 6
    for hour, gain in gains:
        gross = f"{30 + FIRST_G * (1 + gain / 100):.2f}"
        page = say(tub, "test_bag", hour, vessel="bag 1", gross=gross, gross_unit="g", tare="30", method="blotted")
        said = re.search(r"Moisture ([\d.]+) ± ([\d.]+) %", page)
        assert said is not None
        expected = 100 * (FIRST_MOISTURE + gain / 100) / (1 + gain / 100)
        assert float(said[1]) == pytest.approx(expected, abs=float(said[2]))
    with read_session(client.application.extensions["engine"]) as session:
        history = get_history(session, batch.id)
    from_weighings = [each for each in samples(history) if each.basis == "test_bag"]
    # Beside the weight there is only what the steep water is estimated to have taken: about half a point in 35 h.
    for sample, (_, gain) in zip(from_weighings, gains, strict=True):
        assert 0.0 <= sample.moisture_wb - (FIRST_MOISTURE + gain / 100) / (1 + gain / 100) <= 0.006
