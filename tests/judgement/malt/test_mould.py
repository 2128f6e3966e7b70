"""What makes grain no food: mould seen or counted, a musty smell, ergot over its limit; and what lifts it again."""

import pytest

from app.judgement.flags import evaluate
from app.judgement.malt.mould import finds_against, is_mouldy
from app.judgement.meaning.meaning import meaning
from app.judgement.steps.next_steps import next_steps
from tests.judgement.flag_story import Story, hour_of, moment
from tests.judgement.flags.test_inspection import growing


def stands(story: Story, hour: float) -> list[str]:
    return [find.word for find in finds_against(story.history(), moment(hour))]


def count(story: Story, hour: float, mouldy: int, looked_at: int = 100) -> str:
    grown = {"to_quarter": looked_at - mouldy, "mouldy": mouldy}
    return story.tell(hour, "growth_count", {"looked_at": looked_at, "counts": grown})


def test_a_clean_batch_has_nothing_against_it() -> None:
    story = growing()
    story.look(60)
    count(story, 61, 0)
    assert stands(story, 62) == []
    assert not is_mouldy(story.history(), moment(62))


@pytest.mark.parametrize("findings", [{"mould": "yes"}, {"smell": "musty"}, {"smell": "off"}])
def test_mould_and_what_smells_of_it_stand_against_the_batch(findings: dict[str, str]) -> None:
    story = growing()
    story.look(60, **findings)
    assert not is_mouldy(story.history(), moment(59))
    assert is_mouldy(story.history(), moment(61))


def test_mould_in_the_lot_stands_against_its_batches() -> None:
    story = Story().declare()
    story.tell(-20, "inspection", {"findings": {"mould": "yes"}}, subject=("lot", "l1"))
    story.charge()
    assert is_mouldy(story.history(), moment(0))


def test_a_sour_bed_is_bacteria_and_no_mould() -> None:
    story = growing()
    story.look(60, smell="sour")
    assert not is_mouldy(story.history(), moment(61))


def test_ergot_over_its_limit_stands_against_the_batch_but_may_be_turned() -> None:
    # 0.2 g/kg of 20 kg are 4 g.
    story = growing()
    story.look(60, ergot_kg=0.004)
    assert stands(story, 61) == []
    story.look(62, ergot_kg=0.0001)
    assert stands(story, 63) == ["ergot over its limit"]
    assert not is_mouldy(story.history(), moment(63))


@pytest.mark.parametrize("said", ["seen", "acted_on", "leaving"])
def test_mouldy_grain_is_not_wholesome_again_for_having_been_seen_to(said: str) -> None:
    story = growing()
    story.answer(61, "mould", story.look(60, mould="yes"), said, "act")
    story.look(66, mould="no")
    assert is_mouldy(story.history(), moment(67))


def test_a_false_alarm_lifts_it_and_mould_found_after_that_stands_again() -> None:
    story = growing()
    story.answer(61, "mould", story.look(60, mould="yes"), "false_alarm", "act")
    assert not is_mouldy(story.history(), moment(62))
    story.look(70, mould="yes")
    assert is_mouldy(story.history(), moment(71))
    assert [hour_of(flag.starts_at) for flag in story.flags(71, "mould")] == [60, 70]


def test_the_answer_to_mould_is_one_to_the_musty_smell_beside_it_and_to_none_that_came_later() -> None:
    story = growing()
    found = story.look(60, mould="yes", smell="musty")
    story.answer(61, "mould", found, "false_alarm", "act")
    assert stands(story, 62) == []
    story.look(70, smell="musty")
    assert stands(story, 71) == ["musty smell"]


def test_one_mouldy_kernel_asks_for_a_look_and_a_clean_look_ends_that() -> None:
    story = growing()
    count(story, 60, 1)
    flag = story.flag(61, "mould_counted")
    assert (flag.severity, flag.ends_at) == ("caution", None)
    assert "1 of 100" in flag.title
    assert "inspection" in flag.remedy
    assert stands(story, 61) == []
    story.look(62, mould="no")
    assert hour_of(story.flag(63, "mould_counted").ends_at) == 62


@pytest.mark.parametrize(
    ("mouldy", "looked_at", "severity"), [(4, 100, "caution"), (5, 100, "act"), (1, 10, "caution")]
)
def test_mouldy_kernels_are_mould_once_dead_ones_would_not_explain_them(
    mouldy: int, looked_at: int, severity: str
) -> None:
    story = growing()
    count(story, 60, mouldy, looked_at)
    assert story.flag(61, "mould_counted").severity == severity
    assert is_mouldy(story.history(), moment(61)) == (severity == "act")


def test_a_later_clean_count_does_not_wish_counted_mould_away() -> None:
    story = growing()
    count(story, 60, 9)
    count(story, 70, 0)
    assert story.flag(71, "mould_counted").ends_at is None
    assert is_mouldy(story.history(), moment(71))


def test_mould_that_was_seen_speaks_for_the_mouldy_kernels_of_that_time() -> None:
    story = growing()
    count(story, 46, 2)
    story.look(46.5, mould="yes")
    flags = evaluate(story.history(), moment(47))
    assert [flag.rule for flag in flags if flag.cause == "mould"] == ["mould"]


def test_a_false_alarm_about_one_kernel_says_nothing_of_the_many_found_later() -> None:
    story = growing()
    story.answer(61, "mould_counted", count(story, 60, 1), "false_alarm", "caution")
    count(story, 70, 8)
    assert is_mouldy(story.history(), moment(71))


def test_what_was_struck_out_stands_against_nothing() -> None:
    story = growing()
    found = story.look(60, mould="yes")
    story.tell(68, "withdrawal", {"reason": "root hairs"}, supersedes_id=found)
    assert not is_mouldy(story.history(), moment(69))


@pytest.mark.parametrize(
    ("mouldy", "status", "said"), [(1, "caution", "look at all of it"), (8, "act", "don’t turn, sniff or shake it")]
)
def test_a_count_with_mouldy_kernels_says_so_the_moment_it_is_kept(mouldy: int, status: str, said: str) -> None:
    story = growing()
    count(story, 60, mouldy)
    meant = meaning(story.history(), story.history().facts[-1], moment(60))
    assert meant.status == status
    assert f"Mouldy {mouldy} of 100" in meant.text
    assert said in meant.text


def test_nobody_is_told_to_turn_a_mouldy_bed() -> None:
    story = growing()
    assert "turned" in {step.kind for step in next_steps(story.history(), moment(61))}
    story.look(60, mould="yes")
    steps = next_steps(story.history(), moment(61))
    assert "turned" not in {step.kind for step in steps}
    assert steps[0].what.startswith("Leave it lying")
