"""Stories that nobody would plan: anything at any hour, some of it corrected, struck out or restored."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from tests.judgement.story import BATCH, Story, at

THERMOMETER = {"type": "instrument", "id": "thermometer 1"}
STAGE_KINDS = (
    "steep_on",
    "drained",
    "cast",
    "stew_on",
    "loaded",
    "heat_on",
    "heat_off",
    "stripped",
    "finished",
    "paused",
)
TEMPERATURES = ("grain_temperature", "water_temperature", "air_on_temperature")
OTHER = {"type": "batch", "id": "batch-2"}
HOURS = (0.0, 0.5, 1.0, 5.0, 5.0, 20.0, 40.0, 41.5, 100.0, 160.0, 170.0, 190.0)

Draw = Any


@st.composite
def stories(draw: Draw, programmes: tuple[str | None, ...] = ("barley_pale", "caramel", "roasted", None)) -> Story:
    """A charge, and up to sixteen things that happened, or were said to have happened, after it."""
    story = Story(draw(st.sampled_from(programmes)))
    story.charge(draw(st.integers(1, 200)), draw(st.integers(0, 50)) / 100)
    if draw(st.booleans()):
        story.bag_start(0.0, 0.1, draw(st.sampled_from([None, 0.12])))
    for _ in range(draw(st.integers(1, 16))):
        hour = draw(st.sampled_from(HOURS))
        told = draw(st.sampled_from(TELLERS))(draw, story, hour)
        _decide_fate(draw, story, hour, told)
    story.say(-30.0, "calibrated", {"amount": 1.5}, subject=THERMOMETER)
    return story


def _decide_fate(draw: Draw, story: Story, hour: float, told: str) -> None:
    again = dict(story.records[-1])
    fate = draw(st.sampled_from(["stands", "stands", "struck", "restored", "corrected"]))
    if fate in ("struck", "restored"):
        struck = story.withdraw(hour, told)
        if fate == "restored":
            story.records.append(again | {"id": f"{told}-back", "supersedes_id": struck})
    elif fate == "corrected":
        story.records.append(again | {"id": f"{told}-new", "at": at(hour + 0.25).isoformat(), "supersedes_id": told})


def _stage(draw: Draw, story: Story, hour: float) -> str:
    return story.say(hour, draw(st.sampled_from(STAGE_KINDS)))


def _reading(draw: Draw, story: Story, hour: float) -> str:
    quality = draw(st.sampled_from(["measured", "estimated", "over_range"]))
    kind = draw(st.sampled_from(TEMPERATURES))
    return story.say(hour, kind, {"value": draw(st.integers(-4, 95))}, instrument="thermometer 1", quality=quality)


def _bag(draw: Draw, story: Story, hour: float) -> str:
    return story.bag(hour, draw(st.integers(1, 170)) / 1000, draw(st.sampled_from([None, "drained", "blotted"])))


def _mass(draw: Draw, story: Story, hour: float) -> str:
    kind = draw(st.sampled_from(["skimmings", "loss", "culms", "outturn", "charge_weighing"]))
    method = {"skimmings": "dried", "loss": "as_is", "charge_weighing": "drained"}.get(kind)
    return story.say(hour, kind, {"net_kg": draw(st.integers(0, 250))}, **({"method": method} if method else {}))


def _tray(draw: Draw, story: Story, hour: float) -> str:
    return story.say(hour, "tray", {"vessel": "tray 1", "gross_kg": draw(st.integers(1, 60)) / 10})


def _test(draw: Draw, story: Story, hour: float) -> str:
    return story.say(hour, "moisture_test", {"value": draw(st.integers(0, 60)) / 100}, method="kitchen_oven")


def _count(draw: Draw, story: Story, hour: float) -> str:
    if draw(st.booleans()):
        return story.say(hour, "chit_count", {"looked_at": 50, "counts": {"chitted": draw(st.integers(0, 50))}})
    counts = draw(st.dictionaries(st.sampled_from(["to_quarter", "over", "broken"]), st.integers(1, 50), min_size=1))
    return story.say(hour, "growth_count", {"counts": counts})


def _part(draw: Draw, story: Story, hour: float) -> str:
    kind = draw(st.sampled_from(["split", "merge"]))
    source, target = (BATCH, OTHER) if kind == "split" else (OTHER, BATCH)
    ends = {"source": source, "target": target}
    return story.say(hour, kind, {**ends, "as_is_kg": draw(st.integers(0, 150)), "moisture_wb": 0.44})


TELLERS = (_stage, _stage, _reading, _bag, _mass, _tray, _test, _count, _part)
