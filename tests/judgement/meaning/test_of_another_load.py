"""A page loads what was just kept and the batch it belongs to one after the other: what it means is the same."""

from __future__ import annotations

from typing import Any

import pytest

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import fact_from_record
from app.judgement.meaning.meaning import meaning
from tests.examples import EXAMPLES
from tests.judgement.flag_story import Story, moment

STANDING = [kind for kind in KINDS if "batch" in KINDS[kind].subjects and kind != "withdrawal"]
"""A withdrawal stands in no history: what it means is said of itself alone."""
LOT, HERE, OTHER, PACK = "lot:l1", "batch:b1", "batch:b2", "pack:p1"
OTHERWISE = {
    "charge": {"source": LOT, "target": HERE},
    "split": {"source": HERE, "target": OTHER},
    "merge": {"source": OTHER, "target": HERE},
    "roast_charge": {"source": PACK, "target": HERE},
    "pack": {"source": HERE, "target": PACK},
    "dispatch": {"source": HERE},
}
PROBE = "probe 1"
HOURS = (12.0, 162.0)
"""In the steep, and on the kiln."""


def told(kind: str, hour: float) -> tuple[Story, dict[str, Any]]:
    """A batch whose probe reads 2 °C too high, and the kind's example said at an hour, the last of all."""
    story = Story()
    if hour > 100:
        story.kiln()
    else:
        story.begin().bag_start(net_kg=0.3)
    story.tell(-40, "calibrated", {"amount": -2.0}, subject=("instrument", PROBE))
    story.tell(hour, kind, **({"instrument": PROBE} if KINDS[kind].has_instrument else {}))
    record = story.records[-1]
    del record["values"]
    record["typed"] = dict(EXAMPLES[kind]) | OTHERWISE.get(kind, {})
    if kind == "programme_change":
        record["typed"] = {"programme": story.programme.digest}
    return story, record


@pytest.mark.parametrize("hour", HOURS)
@pytest.mark.parametrize("kind", STANDING)
def test_a_fact_and_its_history_from_two_loads_mean_what_they_mean_from_one(kind: str, hour: float) -> None:
    story, record = told(kind, hour)
    stored, history, again = fact_from_record(record), story.history(), story.history()
    own = again.by_id(record["id"])
    assert own is not None
    assert own is not history.by_id(record["id"])
    wanted = meaning(again, own, moment(hour))
    assert meaning(history, stored, moment(hour)) == wanted
    assert meaning(history, own, moment(hour)) == wanted


def test_the_first_weighing_of_a_tray_is_its_start_whichever_load_it_comes_from() -> None:
    story, record = told("tray", 162.0)
    said = meaning(story.history(), fact_from_record(record), moment(162.0))
    assert (said.status, said.text) == ("none", "Tray’s start kept")


def test_a_reading_is_judged_as_its_instrument_is_corrected_whichever_load_it_comes_from() -> None:
    story, record = told("grain_temperature", 12.0)
    said = meaning(story.history(), fact_from_record(record), moment(12.0))
    assert "14.5 °C" in said.text
    assert "Corrected" in said.detail
