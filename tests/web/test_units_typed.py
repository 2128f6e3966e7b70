"""A unit typed with its number sets the unit."""

import pytest
from werkzeug.datastructures import MultiDict

from app.web.entries.forms import form_class
from app.web.entries.units_typed import split_unit, unit_name
from app.web.lots.page import taken_out


def read(kind: str, **sent: str) -> dict[str, str]:
    return form_class(kind, "metric")(MultiDict(sent)).typed()


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [("5,0 kg", "5,0", "kg"), ("68F", "68", "f"), ("68 °F", "68", "f"), ("−2 °C", "−2", "c"), ("20", "20", "c")],
)
def test_the_unit_in_the_field_of_the_number_is_taken(text, number, unit):
    kind, field = ("test_bag", "net") if unit == "kg" else ("grain_temperature", "value")
    chosen = {"net": "gross_unit", "value": "value_unit"}[field]
    typed = read(kind, **{field: text, chosen: "g" if unit == "kg" else "c"})
    assert (typed[field], typed[chosen]) == (number, unit)


def test_a_unit_of_another_quantity_stays_where_it_is_to_be_refused():
    assert read("grain_temperature", value="5 kg", value_unit="c") == {"value": "5 kg", "value_unit": "c"}


def test_a_tare_in_another_unit_than_its_gross_weight_stays_to_be_refused():
    typed = read("test_bag", gross="5 kg", tare="500 g", gross_unit="g")
    assert typed == {"gross": "5", "gross_unit": "kg", "tare": "500 g"}


def test_pounds_in_the_plural_and_grouped_digits_are_read():
    assert split_unit("1 842 lbs") == ("1 842", "lbs")
    assert read("test_bag", net="12 lbs", gross_unit="g") == {"net": "12", "gross_unit": "lb"}


@pytest.mark.parametrize(("name", "unit"), [("net", "net_unit"), ("as_is_12", "as_is_unit_12")])
def test_the_unit_of_a_row_keeps_the_number_of_its_row(name, unit):
    assert unit_name(name) == unit


def test_grain_that_is_taken_out_stays_below_nothing_with_its_unit_typed():
    sent = taken_out(MultiDict({"gross": "5 kg", "tare": "500 g", "gross_unit": "g"}))
    assert form_class("stock_adjustment", "metric")(sent).typed()["tare"] == "500 g"
    sent = taken_out(MultiDict({"gross": "5 KG", "tare": "0.5 kg", "gross_unit": "g"}))
    assert form_class("stock_adjustment", "metric")(sent).typed() == {"net": "-4.5", "gross_unit": "kg"}
