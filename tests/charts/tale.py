"""A batch to draw: a story with every sort of fact that a timeline shows, and flags beside it."""

from collections.abc import Sequence
from typing import Any

from app.charts.timeline import timeline_figure
from app.judgement.flags.base import Flag, Message
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from tests.judgement.plan_run import plan_story
from tests.judgement.story import ZERO, Story, at

PALE = load_builtin()["barley_pale"]


def tale(number: int = 7) -> Story:
    """Charged, steeped, cast and germinating; hours of the story are those from first water."""
    story = Story("barley_pale")
    story.charge(20.0, 0.12, hour=-0.5)
    story.bag_start(-0.25, 0.5, 0.12)
    story.say(0, "steep_on", person="Anna", note="Clear water & cold")
    story.say(1, "water_temperature", {"value": 14.0}, instrument="thermometer 1", person="Anna")
    story.bag(6, 0.62)
    story.say(6.5, "drained", person="Ben")
    story.say(20, "steep_on", person="Ben")
    story.say(21, "water_temperature", {"value": 13.0}, person="Ben")
    story.bag(25, 0.78)
    story.say(26, "cast", person="Anna")
    for hour, top, middle, bottom in ((30, 16.0, 15.0, 14.0), (40, 19.5, 17.0, 15.5), (50, 18.0, 17.5, 15.0)):
        for place, value in (("top", top), ("middle", middle), ("bottom", bottom)):
            story.say(hour, "grain_temperature", {"value": value}, place=place, person="Anna", entered_by="Ben")
    story.say(31, "air_temperature", {"value": 11.0}, place="room")
    story.say(45, "turned", person="Ben")
    return story


def told(story: Story, number: int = 7, title: str = "") -> History:
    """The story as a History, under a number and a title."""
    batch: dict[str, Any] = {
        "record": "batch", "id": "batch-1", "number": number, "title": title, "programme": PALE.digest,
    }  # fmt: skip
    return history_from_records([batch, *story.records])


def to_plan(key: str = "barley_pale") -> History:
    """A whole batch that runs exactly to its plan."""
    return history_from_records(plan_story(load_builtin()[key], ZERO))


def flag(
    severity: str, starts_h: float, ends_h: float | None = None, *, title: str = "Too warm", rule: str = "warm"
) -> Flag:
    return Flag(
        rule=rule,
        severity=severity,
        starts_at=at(starts_h),
        ends_at=None if ends_h is None else at(ends_h),
        episode_id=f"episode-{starts_h}",
        fact_ids=(),
        message=Message(title, "It grows too fast.", "Turn it."),
        source="common practice",
    )


def named(figure: dict[str, Any], name: str) -> dict[str, Any]:
    """The one trace of that name, or the first of several."""
    return next(trace for trace in figure["data"] if trace.get("name") == name)


def words_of(figure: dict[str, Any]) -> list[str]:
    """Every hover text of the figure."""
    return [text for trace in figure["data"] for text in trace.get("hovertext", ())]


def draw(story: Story | None = None, now_h: float = 52, flags: Sequence[Flag] = (), **options: Any) -> dict[str, Any]:
    """The timeline of a story, or of the tale, at an hour of it."""
    return timeline_figure(told(story or tale()), at(now_h), flags, **options)
