"""Revisions of a programme: what a change does to the marks, and what is shown of it."""

import pytest

from app.judgement.programmes.programme import ProgrammeInvalid, differences, load_builtin, revise

BUILTIN = load_builtin()


def test_a_revision_knows_its_parent_and_what_changed():
    old = BUILTIN["barley_pale"]
    new = revise(old, {"limits/cast_moisture/target/high": 0.45, "name": "Our pale"})
    assert new.parent == old.digest != new.digest
    assert new.limit("cast_moisture").target_high == 0.45
    changed = {change.path: (change.old, change.new) for change in differences(old, new)}
    assert changed["limits/cast_moisture/target/high"] == (0.46, 0.45)
    assert changed["name"] == (old.name, "Our pale")
    assert set(changed) == {
        "name",
        "limits/cast_moisture/target/high",
        "limits/cast_moisture/target/mark",
        "limits/cast_moisture/target/source",
    }


def test_a_changed_number_is_no_longer_called_published():
    limit = revise(BUILTIN["barley_pale"], {"limits/cast_moisture/target/high": 0.45}).limit("cast_moisture")
    assert limit.mark == "H"
    assert limit.source.startswith("the house's own; before, published: 42–46 % (Evans et al. 2024)")
    assert limit.act_mark == "D"


def test_a_number_changed_together_with_its_source_keeps_what_was_given():
    target = "limits/cast_moisture/target"
    new = revise(BUILTIN["barley_pale"], {f"{target}/high": 0.45, f"{target}/source": "Some 2025, p. 3"})
    assert (new.limit("cast_moisture").mark, new.limit("cast_moisture").source) == ("P", "Some 2025, p. 3")


def test_a_form_that_sends_everything_back_changes_only_what_differs():
    old = BUILTIN["barley_pale"]
    target = old.to_dict()["limits"]["cast_moisture"]["target"]
    everything = {f"limits/cast_moisture/target/{name}": value for name, value in target.items()}
    assert revise(old, everything) is old
    new = revise(old, everything | {"limits/cast_moisture/target/high": 0.45})
    assert new.limit("cast_moisture").mark == "H"


def test_steps_can_be_changed_added_and_taken_out():
    old = BUILTIN["barley_pale"]
    new = revise(old, {"steps/1/hours": 12, "steps/2": None, "steps/3": None})
    assert [step.stage for step in new.steps][:4] == ["immersion", "air_rest", "immersion", "germination"]
    assert new.steps[1].hours == 12
    assert new.steps[1].mark == "H"
    added = {"stage": "cooling", "hours": 1, "mark": "H"}
    longer = revise(old, {f"steps/{len(old.steps)}": added})
    assert len(longer.steps) == len(old.steps) + 1


def test_a_new_bound_in_a_band_of_its_own_is_the_house_s_own():
    new = revise(BUILTIN["barley_pale"], {"limits/cast_moisture/act/low": 0.35, "limits/turning_h/act": None})
    assert new.limit("cast_moisture").low_act == 0.35
    assert new.limit("cast_moisture").act_mark == "H"
    assert new.limit("turning_h").high_act is None
    fresh = revise(new, {"limits/turning_h/act/high": 13})
    assert (fresh.limit("turning_h").high_act, fresh.limit("turning_h").act_mark) == (13, "H")


def test_clearing_the_last_bound_of_a_band_takes_the_band_out():
    new = revise(BUILTIN["barley_pale"], {"limits/turning_h/act/high": None})
    assert "act" not in new.to_dict()["limits"]["turning_h"]


@pytest.mark.parametrize(
    ("path", "value"),
    [("steps/99/hours", 3), ("name/first", "x"), ("limits/cast_moisture/target/high", 0.30)],
)
def test_a_change_that_can_not_stand_is_refused_by_its_path(path, value):
    with pytest.raises(ProgrammeInvalid) as caught:
        revise(BUILTIN["barley_pale"], {path: value})
    assert path in caught.value.fields


def test_a_changed_number_on_a_new_revision_says_where_it_came_from_once():
    once = revise(BUILTIN["barley_pale"], {"limits/cast_moisture/target/high": 0.45})
    twice = revise(once, {"limits/cast_moisture/target/high": 0.44})
    assert twice.limit("cast_moisture").source == once.limit("cast_moisture").source
    assert twice.parent == once.digest
