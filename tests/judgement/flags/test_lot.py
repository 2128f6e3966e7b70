"""The lot: declared or held, and light corn above its own past."""

import pytest

from app.judgement.flags.lot import expected_bounds
from tests.judgement.flag_story import Story, hour_of


def test_a_batch_of_an_undeclared_lot_is_held_and_said_to_be() -> None:
    flag = Story().charge().flag(0, "lot_undeclared")
    assert flag.severity == "caution"
    assert flag.ends_at is None
    assert "Hill field" in flag.title
    assert flag.caution is not None
    assert "That it has no colour proves nothing" in str(flag.caution)


def test_a_declared_lot_is_not_held() -> None:
    assert Story().declare().charge().flags(0, "lot_undeclared") == []


@pytest.mark.parametrize(("untreated", "for_food"), [("no", "yes"), ("yes", "no"), ("not_sure", "yes")])
def test_a_declaration_that_says_otherwise_holds_the_batch(untreated: str, for_food: str) -> None:
    flag = Story().declare(untreated, for_food).charge().flag(0, "lot_undeclared")
    assert "not said to be" in flag.title
    assert flag.severity == "act"


@pytest.mark.parametrize(
    ("untreated", "asks"), [("yes", "Is it food? Ask the seller;"), ("not_sure", "Ask the seller in writing")]
)
def test_the_seller_is_asked_what_is_open(untreated: str, asks: str) -> None:
    assert Story().declare(untreated, "not_sure").charge().flag(0, "lot_undeclared").remedy.startswith(asks)


def test_malt_of_an_undeclared_lot_that_is_packed_all_the_same_is_urgent() -> None:
    story = Story().charge()
    story.tell(200, "heat_off")
    assert story.flag(201, "lot_undeclared").severity == "caution"
    into = {"source": {"type": "batch", "id": "b1"}, "target": {"type": "pack", "id": "pack-1"}}
    story.tell(202, "pack", into | {"as_is_kg": 1.0, "moisture_wb": 0.05})
    assert story.flag(203, "lot_undeclared").severity == "act"


def floated(*past: int, now: int, species: str = "barley", looked_at: int = 200) -> Story:
    story = Story(species=species)
    story.declare()
    for place, count in enumerate(past):
        tally = {"looked_at": looked_at, "counts": {"floated": count}}
        story.tell(-29 + place, "float_count", tally, subject=("lot", "l1"))
    story.charge()
    story.tell(-0.2, "float_count", {"looked_at": looked_at, "counts": {"floated": now}})
    return story


def test_light_corn_far_above_the_lots_own_past_is_a_notice() -> None:
    flag = floated(4, 6, 5, 5, now=30).flag(0, "light_corn")
    assert flag.severity == "notice"
    assert "15.0 %" in flag.title
    assert "prediction interval" in flag.source


def test_light_corn_within_what_the_past_lets_expect_is_none() -> None:
    assert floated(4, 6, 5, 5, now=9).flags(0, "light_corn") == []


def test_three_tests_are_too_few_a_past() -> None:
    assert floated(4, 6, 5, now=60).flags(0, "light_corn") == []


def test_tests_by_another_method_are_no_past() -> None:
    story = floated(4, 6, 5, 5, now=30)
    for record in story.records:
        if record["kind"] == "float_count" and record["subject"]["type"] == "lot":
            record["method"] = "salt water"
    assert story.flags(0, "light_corn") == []


def test_husked_oats_are_never_judged_by_what_floats() -> None:
    assert floated(4, 6, 5, 5, now=60, species="oats").flags(0, "light_corn") == []
    assert len(floated(4, 6, 5, 5, now=60, species="naked oats").flags(0, "light_corn")) == 1


def test_the_expected_bounds_cover_about_as_often_as_they_say() -> None:
    import numpy as np

    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(2000):
        *past, following = rng.binomial(200, 0.05, size=6) / 200
        low, high = expected_bounds([float(each) for each in past], 200)
        inside += low <= following <= high
    # 95 %, and no less: the drawing of the next test is a floor under the spread.
    assert 0.94 <= inside / 2000 <= 1.0


def test_the_expected_bounds_widen_with_the_scatter_of_the_past() -> None:
    narrow, wide = expected_bounds([0.05] * 6, 1000), expected_bounds([0.02, 0.08, 0.05, 0.01, 0.09, 0.05], 1000)
    assert wide[1] - wide[0] > narrow[1] - narrow[0]


def laid_out(*grown: int, hours: float = -30, dead: int | None = None, in_eight: int | None = None) -> Story:
    """A declared lot whose dishes of a hundred were counted out so many hours from first water; charged at -0.5 h."""
    story = Story().declare()
    dishes = [("4ml", each) for each in grown] + ([("8ml", in_eight)] if in_eight is not None else [])
    for water, number in dishes:
        counts = {"day_1": 0, "day_2": number, "day_3": 0}
        values = {"looked_at": 100, "counts": counts}
        story.tell(hours, "germination_test", values, subject=("lot", "l1"), method=water)
    if dead is not None:
        values = {"looked_at": 200, "counts": {"not_germinated": dead}}
        story.tell(hours, "capacity_test", values, subject=("lot", "l1"))
    return story.charge()


LIFE = {"lot_unfit", "lot_weak", "lot_dormant", "lot_water_sensitive", "lot_test_old"}


def life_flags(story: Story, hour: float = 1.0) -> dict[str, str]:
    return {flag.rule: flag.severity for flag in story.flags(hour) if flag.rule in LIFE}


@pytest.mark.parametrize(
    ("story", "flags"),
    [
        (laid_out(95), {}),
        (laid_out(94), {"lot_weak": "caution"}),
        (laid_out(84), {"lot_unfit": "act"}),
        (laid_out(80, dead=4), {"lot_dormant": "caution"}),
        (laid_out(98, in_eight=50), {"lot_water_sensitive": "caution"}),
        (laid_out(98, in_eight=68), {"lot_water_sensitive": "notice"}),  # so few kernels can't tell
        (laid_out(98, in_eight=69), {}),
        (laid_out(98, hours=-24 * 60 - 0.5), {}),
        (laid_out(98, hours=-24 * 60 - 1.5), {"lot_test_old": "notice"}),
        (laid_out(90, hours=-24 * 70), {"lot_weak": "caution", "lot_test_old": "notice"}),
        (laid_out(), {}),
    ],
)
def test_a_lot_is_flagged_at_charging_by_what_its_tests_said(story: Story, flags: dict[str, str]) -> None:
    assert life_flags(story) == flags


def test_a_test_made_after_the_charge_changes_no_flag_of_the_charge() -> None:
    story = laid_out(98)
    values = {"looked_at": 100, "counts": {"day_1": 0, "day_2": 50, "day_3": 0}}
    story.tell(80, "germination_test", values, subject=("lot", "l1"), method="4ml")
    assert life_flags(story, 90.0) == {}


def test_the_flag_says_the_figures_and_whose_limit_it_is() -> None:
    flag = laid_out(90).flag(1, "lot_weak")
    assert "90 % of 100 grew" in flag.meaning
    assert "Canadian Malting Barley Technical Centre" in flag.source
    assert "chance" in flag.meaning
    assert flag.ends_at is None


def test_a_lot_that_was_charged_untested_is_a_notice_until_its_chits_are_counted() -> None:
    story = Story().begin()
    story.is_lot_tested = False
    flag = story.flag(10, "lot_untested")
    assert (flag.severity, flag.ends_at) == ("notice", None)
    assert "Hill field" in flag.title
    story.chits(24, 40)
    assert hour_of(story.flag(25, "lot_untested").ends_at) == 24


def test_a_lot_that_was_tested_before_it_was_charged_is_not_said_to_be_untested() -> None:
    assert Story().begin().flags(10, "lot_untested") == []
