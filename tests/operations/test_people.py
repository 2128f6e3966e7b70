"""The people of the house, and the units that each reads in."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from app.errors import Rejected
from app.operations.people import add_person, change_units
from app.store.people import find_person, list_people
from tests.writing import NOW


def test_somebody_is_added_with_their_units(session: Session) -> None:
    add_person(session, person_id="p1", name=" Nora ", units="us", now=NOW)
    person = find_person(session, "p1")
    assert person is not None
    assert (person.name, person.units, person.created_at) == ("Nora", "us", NOW)


def test_the_same_id_again_is_the_same_person(session: Session) -> None:
    first = add_person(session, person_id="p1", name="Nora", units="us", now=NOW)
    assert add_person(session, person_id="p1", name="Nora", units="us", now=NOW) is first
    assert len(list_people(session)) == 1


@pytest.mark.parametrize("name", ["", "  ", "n" * 81, "Nora"])
def test_a_name_is_needed_short_enough_and_one_s_own(session: Session, name: str) -> None:
    add_person(session, person_id="p1", name="Nora", units="us", now=NOW)
    with pytest.raises(Rejected) as caught:
        add_person(session, person_id="p2", name=name, units="metric", now=NOW)
    assert set(caught.value.fields) == {"name"}
    assert [person.id for person in list_people(session)] == ["p1"]


def test_units_can_be_changed_to_known_ones_only(session: Session) -> None:
    person = add_person(session, person_id="p1", name="Nora", units="us", now=NOW)
    assert change_units(session, person, "metric").units == "metric"
    with pytest.raises(Rejected) as caught:
        change_units(session, person, "imperial")
    assert set(caught.value.fields) == {"units"}
    with pytest.raises(Rejected):
        add_person(session, person_id="p2", name="Ada", units="imperial", now=NOW)
