"""What looks like a slip is kept, asked about, and until then reckoned without."""

from __future__ import annotations

from datetime import timedelta

from app.judgement.forecasts import forecast
from app.judgement.forecasts.moisture import moisture_at
from app.judgement.forecasts.trusted import doubted, known_and_trusted, trusted
from app.judgement.measures.batch import measures
from tests.judgement.flag_story import Story


def steeped(slip_kg: float | None = None, *, is_typed: bool = True) -> Story:
    """A bag at 30 % after five hours; an hour later, where there is one, a weight in another unit."""
    story = Story().begin()
    story.bag_start()
    story.bag(5.0, 0.30)
    if slip_kg is not None:
        values = {"vessel": "bag 1", "gross_kg": slip_kg + 0.03, "tare_kg": 0.03, "net_kg": slip_kg}
        typed = {"vessel": "bag 1", "gross": f"{slip_kg + 0.03}", "tare": "0.03"} if is_typed else {}
        story.tell(6.0, "test_bag", values, method="blotted", typed=typed)
    return story


def test_a_weight_in_another_unit_does_not_bend_the_curve_of_moisture() -> None:
    plain, slipped = steeped().history(), steeped(640.0).history()
    assert [fact.kind for fact in doubted(slipped)] == ["test_bag"]
    at = slipped.facts[-1].at + timedelta(hours=2)
    usual, found = moisture_at(plain, at), moisture_at(slipped, at)
    assert usual is not None
    assert found is not None
    assert found.moisture_wb == usual.moisture_wb
    assert forecast.fit(slipped).last_at == plain.facts[-1].at


def test_once_it_is_said_to_be_right_it_counts() -> None:
    story = steeped(640.0)
    slip = story.history().of_kind("test_bag")[-1]
    values = {"rule": "slip", "episode_id": slip.id, "answer": "false_alarm", "severity": "caution"}
    story.tell(6.5, "flag_answer", values)
    history = story.history()
    assert trusted(history) is history
    before = slip.at + timedelta(minutes=5)
    assert slip.id not in {fact.id for fact in known_and_trusted(history, before).facts}


def test_what_nobody_typed_is_no_slip_of_the_hand() -> None:
    history = steeped(640.0, is_typed=False).history()
    assert doubted(history) != ()
    assert trusted(history) is history


def test_where_nothing_is_doubted_the_history_is_itself() -> None:
    history = steeped().history()
    assert trusted(history) is history
    assert known_and_trusted(history, history.facts[-1].at) is history


def test_a_fit_without_the_slip_is_kept_as_any_other() -> None:
    fits = forecast.Fits()
    first = forecast.fit(fits.lend(steeped(640.0).history()))
    assert forecast.fit(fits.lend(steeped(640.0).history())) is first


def test_the_measures_of_a_batch_reckon_without_what_is_asked_about() -> None:
    """Grain in °F that was typed as °C is no hottest reading, and in no mean, until somebody says that it is right."""
    story = Story().grow()
    story.grain(50.0, 16.0)
    slip = story.tell(51.0, "grain_temperature", {"value": 61.0}, typed={"value": "61"})
    history = story.history()
    assert [fact.id for fact in doubted(history)] == [slip]
    now = history.facts[-1].at + timedelta(hours=1)
    by_key = {each.key: each for each in measures(history, now)}
    assert by_key["germination_temperature_max"].value == 16.0
    assert by_key["germination_temperature"].value == 16.0
