"""Programmes that are built on others: what a file says itself stands, what it does not say is theirs."""

import pytest

from app.judgement.programmes.based_on import whole
from app.judgement.programmes.programme import files, load_builtin

BASE = {
    "key": "base",
    "species": ["wheat"],
    "cautions": ["one", "two"],
    "steps": [
        {"stage": "immersion", "hours": 5, "mark": "P", "source": "5 h (Senior 2011)"},
        {"stage": "air_rest", "hours": 12, "note": "It chits.", "mark": "M", "source": "from memory in part; 9 h"},
        {"stage": "cooling", "hours": 1, "mark": "C", "source": "common practice"},
    ],
    "limits": {
        "acrospire": {
            "unit": "kernel_lengths",
            "target": {"low": 0.9, "high": 1, "mark": "M"},
            "act": {"high": 1.4, "mark": "D", "source": "1 and 0.4 more"},
        }
    },
}
KILN = {"steps": {"2": {"hours": 2, "mark": "M"}}}


def built(**own: object) -> dict:
    given = {"base": BASE, "kiln": KILN}
    return whole({"based_on": ["base"], "key": "own", **own}, given.__getitem__)


def test_what_a_file_does_not_say_is_as_in_the_one_that_it_is_based_on() -> None:
    assert built() == BASE | {"key": "own"}


def test_a_file_that_is_based_on_nothing_is_as_it_stands() -> None:
    assert whole(BASE, {}.__getitem__) == BASE


def test_a_step_is_changed_by_its_place_and_its_mark_never_keeps_an_old_source() -> None:
    steps = built(steps={"0": {"hours": 4, "mark": "M"}})["steps"]
    assert steps[0] == {"stage": "immersion", "hours": 4, "mark": "M"}
    assert steps[1:] == BASE["steps"][1:]


def test_a_list_takes_the_place_of_a_list() -> None:
    assert built(cautions=["three"])["cautions"] == ["three"]


def test_the_bounds_of_a_limit_stand_or_fall_together() -> None:
    limit = built(limits={"acrospire": {"target": {"high": 1.1, "mark": "C"}}})["limits"]["acrospire"]
    assert limit["target"] == {"high": 1.1, "mark": "C"}
    assert limit["act"] == BASE["limits"]["acrospire"]["act"]


def test_what_is_left_out_is_gone_and_places_count_anew() -> None:
    content = built(without=["steps/1", "limits/acrospire/act"], steps={"1": {"hours": 3, "mark": "C"}})
    assert [step["hours"] for step in content["steps"]] == [5, 3]
    assert "act" not in content["limits"]["acrospire"]


def test_of_several_the_later_is_laid_over_the_earlier() -> None:
    assert built(based_on=["base", "kiln"])["steps"][2] == {"stage": "cooling", "hours": 2, "mark": "M"}


def test_what_is_published_of_one_grain_is_of_another_from_memory() -> None:
    content = built(as_for="wheat", species=["spelt"])
    assert content["steps"][0]["mark"] == "M"
    assert content["steps"][0]["source"] == "from memory, as for wheat: 5 h (Senior 2011)"
    assert content["steps"][1]["source"] == "from memory, as for wheat: 9 h"
    assert content["steps"][2] == BASE["steps"][2]
    assert content["limits"]["acrospire"]["target"]["source"] == "from memory, as for wheat"


def test_whose_a_number_was_first_is_said_whoever_it_came_by() -> None:
    given = {"base": BASE, "spelt": {"based_on": ["base"], "as_for": "wheat", "key": "spelt"}}
    content = whole({"based_on": ["spelt"], "as_for": "spelt", "key": "emmer"}, given.__getitem__)
    assert content["steps"][0]["source"] == "from memory, as for wheat: 5 h (Senior 2011)"


def test_what_a_file_says_of_its_own_grain_keeps_its_mark() -> None:
    own = {"hours": 8, "mark": "P", "source": "8 h (Senior 2011)"}
    assert built(as_for="wheat", steps={"0": own})["steps"][0] == {"stage": "immersion", **own}


def test_what_is_built_upon_is_left_as_it_was() -> None:
    before = repr(BASE)
    built(without=["steps/1"], as_for="wheat", steps={"0": {"hours": 4, "mark": "M"}})
    assert repr(BASE) == before


@pytest.mark.parametrize("key", sorted(key for key, content in files().items() if {"as_for", "key"} <= content.keys()))
def test_a_grain_that_goes_by_another_s_numbers_says_so(key: str) -> None:
    assert files()[key]["as_for"] not in load_builtin()[key].species
