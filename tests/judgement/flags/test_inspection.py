"""Mould, smells, ergot, what nobody is sure of, and bags that have knit."""

import pytest

from tests.judgement.flag_story import Story, hour_of


def growing() -> Story:
    story = Story()
    story.grow(cast_hour=40)
    return story


def test_mould_is_act_now_with_its_caution_and_the_root_hair_card() -> None:
    story = growing()
    story.look(60, mould="yes", place="north corner")
    flag = story.flag(61, "mould")
    assert (flag.severity, flag.place, flag.ends_at) == ("act", "north corner", None)
    assert flag.caution is not None
    assert "FFP3" in str(flag.caution)
    assert "Root hairs look like mould" in flag.meaning
    assert flag.remedy.startswith("Don't turn, sniff or shake it.")


def test_no_mould_is_no_flag() -> None:
    story = growing()
    story.look(60)
    assert story.flags(61, "mould") == []


def test_a_later_look_does_not_wish_mould_away_but_striking_the_fact_out_does() -> None:
    story = growing()
    found = story.look(60, mould="yes")
    story.look(66, mould="no")
    assert story.flag(67, "mould").ends_at is None
    story.tell(68, "withdrawal", {"reason": "root hairs"}, supersedes_id=found)
    assert story.flags(69, "mould") == []


def test_mould_seen_twice_is_one_flag() -> None:
    story = growing()
    first = story.look(60, mould="yes")
    story.look(64, mould="yes")
    flag = story.flag(65, "mould")
    assert flag.episode_id == first
    assert len(flag.fact_ids) == 2


def test_mould_speaks_for_the_musty_smell_that_comes_with_it() -> None:
    story = growing()
    story.look(44, mould="yes")
    story.look(45, smell="musty")
    story.look(46, mould="not_sure")
    assert [flag.rule for flag in story.flags(47)] == ["mould"]
    assert {rule for rule, _ in story.flag(47, "mould").stands_for} == {"off_smell", "not_sure"}


def test_mould_in_the_lot_is_told_in_its_batches() -> None:
    story = Story().declare()
    story.tell(-20, "inspection", {"findings": {"mould": "yes"}}, subject=("lot", "l1"))
    story.charge()
    assert "in the lot" in story.flag(0, "mould").title


@pytest.mark.parametrize(("smell", "is_flagged"), [("clean", False), ("musty", True), ("off", True), ("sour", True)])
def test_smells_of_the_bed(smell: str, is_flagged: bool) -> None:
    story = growing()
    story.look(60, smell=smell)
    flags = story.flags(61, "off_smell")
    expected = [("act", f"It smells {smell}, hour 60")] if is_flagged else []
    assert [(flag.severity, flag.title) for flag in flags] == expected


def test_a_sour_steep_is_the_steeps_own_flag() -> None:
    story = Story().begin()
    story.look(4, smell="sour")
    assert story.flags(5, "off_smell") == []
    assert len(story.flags(5, "spoiling")) == 1


def test_what_smells_only_sour_is_bacteria_and_no_mould() -> None:
    for smell, is_mould in (("sour", False), ("musty", True)):
        story = growing()
        story.look(60, smell=smell)
        flag = story.flag(61, "off_smell")
        assert (flag.caution is not None) == is_mould
        assert ("bacteria" in flag.meaning) != is_mould


def test_a_clean_look_ends_an_off_smell_but_not_a_musty_one() -> None:
    for smell, ends in (("off", 66), ("musty", None)):
        story = growing()
        story.look(60, smell=smell)
        story.look(66, smell="clean")
        assert hour_of(story.flag(67, "off_smell").ends_at) == ends


def test_not_sure_asks_for_a_look_in_six_hours() -> None:
    story = growing()
    story.look(60, mould="not_sure")
    assert "Look again at hour 66" in story.flag(65.9, "not_sure").remedy
    assert "Look again now" in story.flag(66, "not_sure").remedy
    assert story.flag(66, "not_sure").severity == "caution"


def test_a_look_that_is_sure_ends_not_sure() -> None:
    story = growing()
    story.look(60, mould="not_sure")
    story.look(64, mould="no")
    assert hour_of(story.flag(67, "not_sure").ends_at) == 64


@pytest.mark.parametrize(
    ("ergot_kg", "severity"), [(0.0, None), (0.001, "caution"), (0.004, "caution"), (0.0041, "act")]
)
def test_ergot_is_weighed_against_the_charge(ergot_kg: float, severity: str | None) -> None:
    # 0.2 g/kg of 20 kg are 4 g.
    story = Story().begin()
    story.look(1, ergot_kg=ergot_kg)
    assert [flag.severity for flag in story.flags(2, "ergot")] == ([severity] if severity else [])


def test_ergot_of_several_looks_adds_up() -> None:
    story = Story().begin()
    story.look(1, ergot_kg=0.0025)
    story.look(2, ergot_kg=0.0025)
    flag = story.flag(3, "ergot")
    assert flag.severity == "act"
    assert "0.25 g/kg" in flag.title


def test_a_bag_weighed_after_the_rootlets_knit_is_a_notice() -> None:
    story = growing()
    story.bag(50, 0.44)
    story.look(55, matting="strands")
    assert story.flags(56, "knit_bag") == []
    late = story.bag(60, 0.44)
    flag = story.flag(61, "knit_bag")
    assert flag.severity == "notice"
    assert flag.episode_id == late


def test_loose_rootlets_do_not_knit_a_bag() -> None:
    story = growing()
    story.look(55, matting="none")
    story.bag(60, 0.44)
    assert story.flags(61, "knit_bag") == []


# --- what else a look may find ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("found", ["scorched", "smoke"])
def test_scorch_is_act_now_with_fire_before_mould_until_a_look_finds_none(found: str) -> None:
    story = Story()
    story.kiln(100)
    story.look(110, scorch=found)
    flag = story.flag(111, "scorch")
    assert (flag.severity, flag.ends_at) == ("act", None)
    assert flag.caution is not None
    assert flag.caution.key == "kiln"
    assert flag.remedy.index("fuel off") < flag.remedy.index("mould")
    story.look(112, scorch="none")
    assert hour_of(story.flag(113, "scorch").ends_at) == 112


def test_no_scorch_is_no_flag() -> None:
    story = Story()
    story.kiln(100)
    story.look(110, scorch="none")
    assert story.flags(111, "scorch") == []


@pytest.mark.parametrize(("hour", "rule"), [(5, "spoiling"), (15, "spoiling"), (60, "slime")])
def test_slime_in_the_steep_is_a_foul_steep_and_on_the_floor_a_flag_of_its_own(hour: float, rule: str) -> None:
    story = growing()
    story.look(hour, slime="slimy")
    assert [flag.severity for flag in story.flags(hour + 0.5, rule)] == ["caution"]
    assert [flag.rule for flag in story.flags(hour + 0.5) if flag.rule in ("spoiling", "slime")] == [rule]
    story.look(hour + 1, slime="none", smell="clean")
    assert hour_of(story.flag(hour + 2, rule).ends_at) == hour + 1


@pytest.mark.parametrize("rule", ["slime", "insects", "sprouted"])
def test_a_look_that_finds_none_of_it_raises_nothing(rule: str) -> None:
    story = growing()
    story.look(60, slime="none", insects="none", sprouted="none")
    assert story.flags(61, rule) == []


@pytest.mark.parametrize(
    ("rule", "found", "severity"),
    [
        ("insects", "live", "caution"),
        ("insects", "dead", "notice"),
        ("sprouted", "many", "caution"),
        ("sprouted", "few", "notice"),
    ],
)
def test_what_lives_or_sprouted_in_the_lot_is_told_in_its_batch(rule: str, found: str, severity: str) -> None:
    story = Story().declare()
    story.tell(-20, "inspection", {"findings": {"mould": "no", rule: found}}, subject=("lot", "l1"))
    story.charge().tell(0, "steep_on", method="still")
    flag = story.flag(1, rule)
    assert flag.severity == severity
    assert "in the lot" in flag.title
    assert "1272/2009" in flag.source


def test_the_gravest_of_several_looks_names_the_flag() -> None:
    story = growing()
    story.look(60, insects="dead")
    story.look(62, insects="live")
    assert (story.flag(63, "insects").severity, story.flag(63, "insects").title[:4]) == ("caution", "Live")


def test_what_sprouted_in_the_field_is_told_until_the_cast() -> None:
    story = Story().begin()
    story.look(1, sprouted="many")
    assert story.flag(2, "sprouted").ends_at is None
    story.tell(40, "cast")
    assert hour_of(story.flag(41, "sprouted").ends_at) == 40


def test_a_musty_smell_on_the_kiln_has_fire_looked_for_first() -> None:
    story = Story()
    story.kiln(100)
    story.look(110, smell="musty")
    assert story.flag(111, "off_smell").remedy.startswith("Heat off, and look for fire first.")
