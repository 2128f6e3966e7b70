"""What to do next, when and why: from the programme's plan and what was last done. No forecast has a say in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.facts import Fact, Tally
from app.judgement.history import History
from app.judgement.moisture import moisture_at
from app.judgement.programme import Programme
from app.judgement.stages import Stage, stages
from app.judgement.wording import METRIC, Words

BEGINS = {
    "immersion": ("steep_on", "Steep on"),
    "air_rest": ("drained", "Drain"),
    "germination": ("cast", "Cast"),
    "stewing": ("stew_on", "Stew, covered"),
    "kilning": ("loaded", "Load the kiln"),
    "cooling": ("heat_off", "Heat off, cool"),
}
LOOK_EVERY_H = {"immersion": 6.0, "air_rest": 6.0, "germination": 8.0, "stewing": 1.0, "kilning": 2.0}
"""How long after the last look the next is due: common practice."""


@dataclass(frozen=True)
class NextStep:
    """kind: the entry that records it. earliest_at to latest_at: the span in which it is in time."""

    kind: str
    what: str
    due_at: datetime
    earliest_at: datetime
    latest_at: datetime
    why: str

    def is_overdue(self, now: datetime) -> bool:
        return now > self.latest_at


def next_steps(history: History, now: datetime, words: Words = METRIC) -> list[NextStep]:
    """What comes next, the soonest due first; empty once the batch has ended."""
    begun = stages(history, now)
    programme = history.programme_at(now)
    if programme is None or (begun and begun[-1].name in ("finished", "abandoned")):
        return []
    if not begun or begun[-1].name == "charged":
        return [_first(programme, now)]
    stage = begun[-1]
    found = [_stage_step(history, programme, begun, now, words), *_looks(history, programme, stage, now)]
    return sorted((step for step in found if step is not None), key=lambda step: step.due_at)


def _first(programme: Programme, now: datetime) -> NextStep:
    first = programme.planned_stages()[0]
    kind, what = BEGINS.get(first.stage, ("heat_on", "Heat on"))
    if first.stage == "kilning":
        kind, what = "heat_on", "Heat on"
    return NextStep(
        kind, what, now, now, now + timedelta(hours=12), f"The plan begins with {first.hours_high:g} h at the most."
    )


def planned_place(programme: Programme, begun: list[Stage]) -> int | None:
    """Which stretch of the plan the batch is in: by the name of its stage and how many of that name there were."""
    current = begun[-1]
    names = [planned.stage for planned in programme.planned_stages()]
    places = [place for place, name in enumerate(names) if name == current.name]
    if not places:
        return None
    return places[min(current.ordinal, len(places)) - 1]


def _stage_step(
    history: History, programme: Programme, begun: list[Stage], now: datetime, words: Words
) -> NextStep | None:
    place = planned_place(programme, begun)
    if place is None:
        return None
    stage, plan = begun[-1], programme.planned_stages()
    planned = plan[place]
    start = stage.starts_at
    due, low, high = (
        start + timedelta(hours=hours)
        for hours in (planned.end_h - planned.start_h, planned.hours_low, planned.hours_high)
    )
    if place + 1 == len(plan):
        return _ending(history, due, low, high)
    following = plan[place + 1].stage
    kind, what = BEGINS[following]
    why = f"Planned after {planned.hours_low:g} to {planned.hours_high:g} h {stage.word}."
    if stage.name in ("immersion", "air_rest") and following != "germination":
        cast = _ready_to_cast(history, programme, now, words)
        if cast:
            kind, what, why, due = "cast", "Cast", cast, min(due, now)
            low = min(low, due)
    return NextStep(kind, what, due, low, high, _with_moisture(history, programme, following, now, why, words))


def _ending(history: History, due: datetime, low: datetime, high: datetime) -> NextStep:
    if not history.of_kind("culms"):
        return NextStep("culms", "Rub off the culms", due, low, high, "Dressed the same day, before they draw water.")
    if not history.of_kind("outturn"):
        return NextStep("outturn", "Weigh the malt", due, low, high, "It closes the account of the dry matter.")
    return NextStep("finished", "Finish the batch", due, low, high, "Packed cool and dry, the batch is done.")


def _ready_to_cast(history: History, programme: Programme, now: datetime, words: Words) -> str | None:
    """Why it may be cast before the plan says so: moisture and chits are where the programme wants them."""
    wanted_moisture, wanted_chits = programme.limit("cast_moisture"), programme.limit("cast_chits")
    moisture, chits = moisture_at(history, now), last_share(history, "chit_count", "chitted")
    if wanted_moisture is None or wanted_moisture.target_low is None or moisture is None or chits is None:
        return None
    enough_chits = wanted_chits is None or wanted_chits.target_low is None or chits >= wanted_chits.target_low
    if moisture.moisture_wb < wanted_moisture.target_low or not enough_chits:
        return None
    return f"Chits {words.percent(chits, decimals=0)}, and the moisture is there."


def _with_moisture(
    history: History, programme: Programme, following: str, now: datetime, why: str, words: Words
) -> str:
    if following not in ("air_rest", "immersion", "germination"):
        return why
    moisture, target = moisture_at(history, now), programme.limit("cast_moisture")
    if moisture is None or target is None or target.target_low is None or target.target_high is None:
        return why
    about = "about " if moisture.is_estimate else ""
    goal = f"{100 * target.target_low:g}–{100 * target.target_high:g} %"
    return f"{why} Moisture {about}{words.percent(moisture.moisture_wb, moisture.half_width)}; wanted at cast {goal}."


def last_share(history: History, kind: str, class_name: str) -> float | None:
    """The share of one class in the last count of a kind."""
    counts = history.of_shape(Tally, kind)
    return counts[-1].counts.get(class_name, 0) / counts[-1].looked_at if counts else None


def _looks(history: History, programme: Programme, stage: Stage, now: datetime) -> list[NextStep]:
    found: list[NextStep] = []
    if stage.name == "germination":
        found += _turning(history, programme, stage)
        counted = _last_at(history, stage.starts_at, "growth_count")
        base = counted or stage.starts_at + timedelta(hours=12)
        due = base + timedelta(hours=24)
        found.append(_look("growth_count", "Count the growth", due, 12, "It tells when to stop.", 4))
    if stage.name in ("immersion", "air_rest") and history.of_kind("test_bag_start"):
        weighed = _last_at(history, stage.starts_at - timedelta(hours=8), "test_bag") or stage.starts_at
        found.append(_look("test_bag", "Weigh the test bag", weighed + timedelta(hours=6), 4, "To see the uptake."))
    if stage.name == "air_rest" and history.hour(now) >= 12:
        counted = _last_at(history, stage.starts_at, "chit_count") or stage.starts_at
        found.append(_look("chit_count", "Count the chits", counted + timedelta(hours=8), 4, "Chits decide the cast."))
    if stage.name == "kilning":
        weighed = _last_at(history, stage.starts_at, "tray") or stage.starts_at
        found.append(_look("tray", "Weigh a tray", weighed + timedelta(hours=3), 2, "Its weight tells the moisture."))
    every = LOOK_EVERY_H.get(stage.name)
    if every is not None:
        kind = "water_temperature" if stage.name == "immersion" else "grain_temperature"
        what = "Take the water’s temperature" if stage.name == "immersion" else "Take the grain’s temperature"
        last = _last_at(history, stage.starts_at, kind) or stage.starts_at
        found.append(_look(kind, what, last + timedelta(hours=every), every / 2, "A look in time."))
    return found


def _turning(history: History, programme: Programme, stage: Stage) -> list[NextStep]:
    limit = programme.limit("turning_h")
    if limit is None or limit.target_high is None:
        return []
    last = _last_at(history, stage.starts_at, "turned") or stage.starts_at
    due = last + timedelta(hours=limit.target_high)
    latest = last + timedelta(hours=limit.high_caution or limit.target_high)
    return [
        NextStep("turned", "Turn the bed", due, due - timedelta(hours=2), latest, "It vents, cools and keeps it loose.")
    ]


def _look(kind: str, what: str, due: datetime, late_h: float, why: str, early_h: float = 1.0) -> NextStep:
    return NextStep(kind, what, due, due - timedelta(hours=early_h), due + timedelta(hours=late_h), why)


def _last_at(history: History, since: datetime, kind: str) -> datetime | None:
    found: tuple[Fact, ...] = tuple(fact for fact in history.of_kind(kind) if fact.at >= since)
    return found[-1].at if found else None
