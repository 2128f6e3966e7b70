"""Growth: uneven, stalled, past its target, and the rub-out."""

import pytest

from tests.judgement.flag_story import Story, hour_of


def grown(*counts: tuple[float, tuple[int, ...]]) -> Story:
    story = Story()
    story.grow(cast_hour=40)
    for hour, classes in counts:
        story.growth(hour, *classes)
    return story


@pytest.mark.parametrize(
    ("classes", "severity"),
    [((15, 35, 35, 15, 0), None), ((16, 35, 34, 15, 0), "notice"), ((20, 20, 20, 20, 20), "caution")],
)
def test_growth_is_uneven_below_seven_in_ten_in_two_neighbouring_classes(
    classes: tuple[int, ...], severity: str | None
) -> None:
    flags = grown((100, classes)).flags(101, "growth_uneven")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_few_kernels_tell_nothing_of_evenness() -> None:
    assert grown((100, (4, 4, 4, 4, 3))).flags(101, "growth_uneven") == []


def test_a_later_even_count_ends_uneven_growth() -> None:
    story = grown((100, (20, 20, 20, 20, 20)), (120, (0, 0, 50, 50, 0)))
    assert hour_of(story.flag(121, "growth_uneven").ends_at) == 120


def test_lengths_are_judged_as_classes_are() -> None:
    story = grown()
    lengths = [0.1] * 5 + [0.4] * 5 + [0.6] * 5 + [0.9] * 5 + [1.2] * 5
    story.tell(100, "growth_count", {"looked_at": 25, "counts": {}, "lengths": lengths})
    assert story.flag(101, "growth_uneven").severity == "caution"


@pytest.mark.parametrize(
    ("classes", "severity"),
    [
        ((0, 0, 35, 65, 0), None),
        ((0, 0, 25, 75, 0), "notice"),
        ((0, 0, 5, 75, 20), "caution"),
        ((0, 0, 0, 40, 60), "act"),
    ],
)
def test_past_its_target_by_the_mean_acrospire(classes: tuple[int, ...], severity: str | None) -> None:
    # Means from the middles 0.625, 0.875, 1.125: 0.7875; 0.8125; 0.9125; 1.025 against 0.8, 0.9, 1.
    flags = grown((150, classes)).flags(151, "past_target")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_past_target_ends_with_the_loading() -> None:
    story = grown((150, (0, 0, 0, 40, 60)))
    story.tell(152, "loaded")
    assert hour_of(story.flag(160, "past_target").ends_at) == 152


def test_growth_that_stands_still_for_a_day_has_stalled() -> None:
    same = (0, 50, 50, 0, 0)
    story = grown((80, same), (104, same))
    flag = story.flag(105, "growth_stalled")
    # 0.75 in 120 h is planned: 0.15 in a day.
    assert "0.15 planned" in flag.title
    assert flag.ends_at is None


def test_growth_at_the_planned_pace_has_not_stalled() -> None:
    # From 0.50 to 0.65 in a day.
    assert grown((80, (0, 50, 50, 0, 0)), (104, (0, 0, 90, 10, 0))).flags(105, "growth_stalled") == []


def test_two_counts_too_near_in_time_tell_no_stall() -> None:
    same = (0, 50, 50, 0, 0)
    assert grown((80, same), (89, same)).flags(90, "growth_stalled") == []


def test_few_kernels_are_too_unsure_to_tell_a_stall() -> None:
    assert grown((80, (0, 3, 3, 0, 0)), (104, (0, 3, 3, 0, 0))).flags(105, "growth_stalled") == []


def test_grown_malt_that_stands_still_has_arrived_not_stalled() -> None:
    same = (0, 0, 40, 60, 0)
    assert grown((120, same), (144, same)).flags(145, "growth_stalled") == []


def test_growth_that_goes_on_again_ends_the_stall() -> None:
    same = (0, 50, 50, 0, 0)
    story = grown((80, same), (104, same), (128, (0, 0, 60, 40, 0)))
    assert hour_of(story.flag(129, "growth_stalled").ends_at) == 128


@pytest.mark.parametrize(
    ("moisture_wb", "severity"), [(0.405, None), (0.395, "caution"), (0.475, None), (0.485, "caution"), (0.505, "act")]
)
def test_the_water_in_the_bed_while_it_grows(moisture_wb: float, severity: str | None) -> None:
    story = grown()
    story.tell(80, "moisture_test", {"value": moisture_wb}, method="oven_two_stage")
    flags = story.flags(81, "bed_moisture")
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_a_bed_that_was_sprayed_is_dry_no_longer() -> None:
    story = grown()
    for hour, moisture_wb in ((60, 0.39), (70, 0.385), (80, 0.43)):
        story.tell(hour, "moisture_test", {"value": moisture_wb}, method="oven_two_stage")
    flag = story.flag(81, "bed_moisture")
    assert (hour_of(flag.starts_at), hour_of(flag.ends_at), flag.worst) == (60, 80, 0.385)
    assert flag.title.startswith("The bed dries out")


def test_too_wet_after_too_dry_is_another_flag() -> None:
    story = grown()
    story.tell(60, "moisture_test", {"value": 0.39}, method="oven_two_stage")
    story.tell(80, "moisture_test", {"value": 0.49}, method="oven_two_stage")
    assert [hour_of(flag.ends_at) for flag in story.flags(81, "bed_moisture")] == [80, None]


def test_what_is_weighed_at_the_cast_is_the_steeps_affair() -> None:
    story = grown()
    story.tell(40.5, "moisture_test", {"value": 0.49}, method="oven_two_stage")
    found = {flag.rule for flag in story.flags(42)}
    assert "oversteeped" in found
    assert "bed_moisture" not in found


def rubbed(mean_classes: tuple[int, ...], **counts: int) -> Story:
    story = grown((150, mean_classes))
    story.tell(150.5, "rub_out", {"looked_at": 20, "counts": counts})
    return story


def test_hard_ends_are_flagged_once_the_acrospire_says_it_is_time() -> None:
    full = (0, 0, 50, 50, 0)
    assert rubbed(full, chalky=15, hard_end=5).flags(151, "rub_out") == []
    assert "6 of 20" in rubbed(full, chalky=14, hard_end=6).flag(151, "rub_out").title
    assert rubbed((50, 50, 0, 0, 0), chalky=14, hard_end=6).flags(151, "rub_out") == []


def test_pasty_and_lumpy_are_flagged_at_any_length() -> None:
    young = (50, 50, 0, 0, 0)
    assert rubbed(young, chalky=15, pasty=3, lumpy=2).flags(151, "rub_out") == []
    assert "6 of 20" in rubbed(young, chalky=14, pasty=3, lumpy=3).flag(151, "rub_out").title


def test_an_advance_that_classes_hide_is_no_stall() -> None:
    # An oat of the bench of truth: 0.01 to 0.12 of a kernel in a day, and all of it in the shortest class.
    assert grown((50, (100, 0, 0, 0, 0)), (74, (99, 1, 0, 0, 0))).flags(75, "growth_stalled") == []
    # All of them in one class may have gone from its one end to the other.
    assert grown((80, (0, 0, 100, 0, 0)), (104, (0, 0, 100, 0, 0))).flags(105, "growth_stalled") == []


def test_what_a_day_hides_three_show() -> None:
    days = [(hour, (100, 0, 0, 0, 0)) for hour in (50, 74, 98, 122, 146)]
    assert grown(*days[:4]).flags(123, "growth_stalled") == []
    flag = grown(*days).flag(147, "growth_stalled")
    # 0.75 in 120 h is planned: 0.60 in 96 h, and half of it is more than the quarter that the class hides.
    assert "0.60 planned" in flag.title
