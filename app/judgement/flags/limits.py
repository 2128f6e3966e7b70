"""Readings outside the programme's range for their stage; a run of them is one flag. And air that one can't breathe."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import NamedTuple

from app.judgement import cautions
from app.judgement.batch_at import BatchAt
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Reading
from app.judgement.flags import wording
from app.judgement.flags.answers import answered
from app.judgement.flags.base import RANK, Flag, Message, Rule, overrun, raised
from app.judgement.flags.inspection import SCORCH, seen
from app.judgement.forecasts.trusted import HOT_C
from app.judgement.history.history import hours_between
from app.judgement.history.stages import Section, Stage
from app.judgement.programmes.limits import FINE
from app.judgement.programmes.parts import PHASES
from app.judgement.programmes.programme import Limit, Programme, Verdict, provenance

WARMING_UP = timedelta(hours=1)
"""From memory: a kiln takes about an hour to come to its temperature, and grain to follow a change of air."""

PHASE_DOUBT_WB = 0.02
"""The edge between two phases of the kiln is no sharper than this: within it the kinder limit holds."""

HOT_WATER = Limit(
    high_act=40.0,
    unit="c",
    mark="M",
    source="from memory; soaked seed barley is held for 4 h at 45 °C or 10 min at 51–52 °C against smut: the hotter "
    "the less of it germinates (published: Batts 1956, Ann. appl. Biol., doi 10.1111/j.1744-7348.1956.tb02138.x)",
)
"""Above this, water harms grain at once, whatever the programme wants."""

KILLS_FROM_C = 45.0
"""At this, after hours, part of the seed in that source no longer germinates: below it nothing surer is said."""

ROOM_CO2 = Limit(
    high_caution=5000.0,
    high_act=15000.0,
    unit="ppm",
    mark="P",
    source="GB EH40, second-hand: 5000 ppm over 8 h, 15 000 ppm over 15 min",
)
ROOM_CO = Limit(high_caution=20.0, high_act=100.0, unit="ppm", mark="P", source=cautions.CO.source)


@dataclass
class _Run:
    """Consecutive readings that are out on one side, in one stage."""

    stage: Stage
    position: str
    readings: list[Reading] = field(default_factory=list)
    worst: float = 0.0
    verdict: Verdict = field(default_factory=lambda: Verdict("in"))
    ended_by: Reading | None = None

    def add(self, reading: Reading, value: float, verdict: Verdict) -> None:
        further = value > self.worst if self.position == "high" else value < self.worst
        if not self.readings or further:
            self.worst = value
        if self.verdict.severity is None or RANK[verdict.severity or "notice"] > RANK[self.verdict.severity]:
            self.verdict = verdict
        self.readings.append(reading)


def out_of_limits(batch: BatchAt) -> Iterator[Flag]:
    for kind in ("water_temperature", "grain_temperature", "air_on_temperature"):
        for readings in batch.readings_by_place(kind).values():
            for run in _runs(batch, readings):
                yield _run_flag(batch, kind, run)


def _runs(batch: BatchAt, readings: Sequence[Reading]) -> Iterator[_Run]:
    run: _Run | None = None
    before: Reading | None = None
    for section, inside in batch.by_section(readings):
        stage, (least, most) = section.stage, _surely_fine(section, inside[0].kind)
        for reading in inside:
            value, verdict = reading.value or 0.0, FINE
            # Most readings are fine, and every page looks at all of them.
            if not (least <= value <= most and reading.lowest is None and reading.highest is None):
                value, verdict = _judge(batch, reading, section, before)
            before = reading
            if run is not None and (stage is not run.stage or verdict.position != run.position):
                run.ended_by = reading if stage is run.stage else None
                yield run
                run = None
            if stage is not None and verdict.severity is not None:
                run = run or _Run(stage, verdict.position)
                run.add(reading, value, verdict)
    if run is not None:
        yield run


def _surely_fine(section: Section, kind: str) -> tuple[float, float]:
    """From where to where a value is within the limits, however moist the grain is."""
    if section.stage is None or section.programme is None:
        return -math.inf, math.inf
    places = (section.stage.name, *(PHASES if section.stage.name == "kilning" else ()))
    limits = [limit for place in places if (limit := section.programme.limits.get(f"{kind}.{place}")) is not None]
    limits += [HOT_WATER] if kind == "water_temperature" else []
    return max([each.fine[0] for each in limits], default=-math.inf), min(
        [each.fine[1] for each in limits], default=math.inf
    )


def _judge(batch: BatchAt, reading: Reading, section: Section, before: Reading | None) -> tuple[float, Verdict]:
    """The value of a reading that lies furthest out, and the verdict on it."""
    fine = (reading.value or 0.0, FINE)
    _, stage, programme = section
    if stage is None or programme is None or reading.value is None:
        return fine
    judged = [(value, _verdict(batch, programme, reading, stage, value)) for value in _values(reading, stage, before)]
    return judged[0] if len(judged) == 1 else max(judged, key=lambda each: _gravity(each[1]), default=fine)


def _gravity(verdict: Verdict) -> int:
    return RANK.get(verdict.severity or "", -1)


def _values(reading: Reading, stage: Stage, before: Reading | None) -> list[float]:
    """What was read, and the extremes since the last look where that look was at this stage too."""
    values = [reading.value] if reading.value is not None else []
    if before is None or before.at >= stage.starts_at:
        values += [reading.lowest] if reading.lowest is not None else []
        values += [reading.highest] if reading.highest is not None else []
    return values


def _verdict(batch: BatchAt, programme: Programme, reading: Reading, stage: Stage, value: float) -> Verdict:
    if reading.kind == "water_temperature" and not (hot := HOT_WATER.judge(value)).is_fine:
        return hot
    verdicts = [limit.judge(value) for limit in _limits(batch, programme, reading, stage) if limit is not None]
    mildest = verdicts[0] if len(verdicts) == 1 else min(verdicts, key=_gravity, default=FINE)
    if mildest.position == "low" and _is_warming(batch, reading, stage):
        return FINE
    if reading.kind == "air_on_temperature" and not mildest.is_fine:
        # The air may be hotter than the grain bears while the grain is wet and cool: its own probe is what counts.
        return mildest._replace(severity="notice")
    return mildest


def _limits(batch: BatchAt, programme: Programme, reading: Reading, stage: Stage) -> list[Limit | None]:
    if stage.name != "kilning" or not any(f"{reading.kind}.{phase}" in programme.limits for phase in PHASES):
        return [programme.limits.get(f"{reading.kind}.{stage.name}")]
    estimate = batch.moisture_at(reading.at)
    if estimate is None:
        return [programme.limit_for(reading.kind, "kilning")]
    doubt = max(estimate.half_width, PHASE_DOUBT_WB)
    around = (max(estimate.moisture_wb - doubt, 0.0), estimate.moisture_wb, estimate.moisture_wb + doubt)
    phases = dict.fromkeys(programme.kiln_phase(moisture_wb) for moisture_wb in around)
    return [programme.limits.get(f"{reading.kind}.{phase}") for phase in phases]


def _is_warming(batch: BatchAt, reading: Reading, stage: Stage) -> bool:
    """Grain being stewed has a rule of its own for cold; and nothing is hot at once."""
    if stage.name == "stewing":
        return True
    heated = [fact.at for fact in batch.history.of_kind("heat_on") if fact.at <= reading.at]
    return stage.name == "kilning" and reading.at - max([stage.starts_at, *heated]) <= WARMING_UP


_MEANING = {
    (
        "water_temperature",
        "high",
    ): "Warm water takes up faster and holds less oxygen: grain drowns and microbes thrive.",
    ("water_temperature", "low"): "Cold water takes up slowly: the steep needs longer.",
    ("grain_temperature", "high"): "Warm grain grows fast and unevenly, burns its dry matter, and lets moulds in.",
    ("grain_temperature", "low"): "Cold grain hardly grows: the programme's hours no longer hold.",
    (
        "air_on_temperature",
        "high",
    ): "The air is hotter than the programme wants at this moisture. Wet grain stays cooler "
    "than the air, so look at the grain's own probe before you judge.",
    ("air_on_temperature", "low"): "Cooler air than planned: drying takes longer, and wet grain stays warm for longer.",
}
_REMEDY = {
    ("water_temperature", "high"): "Change to cooler water, or drain sooner.",
    ("water_temperature", "low"): "Let it stand longer, or take less cold water next time; weigh the test bag.",
    ("grain_temperature", "high"): "Turn it, spread it thinner, let cool air to it.",
    ("grain_temperature", "low"): "Heap it higher, cover it, or warm the room a little.",
    ("air_on_temperature", "high"): "Lower the air-on, and read the grain.",
    ("air_on_temperature", "low"): "Raise the air-on to the programme's figure.",
}


def _run_flag(batch: BatchAt, kind: str, run: _Run) -> Flag:
    first, last, verdict = run.readings[0], run.readings[-1], run.verdict
    figure = wording.kiln_temperature if run.stage.name == "kilning" else wording.temperature
    side = "above" if run.position == "high" else "below"
    bound = _how_hot(run.worst) if _kills(kind, run) else f"{side} {figure(verdict.bound or 0.0)}"
    title = f"{KINDS[kind].word}{_where(first.place)} {figure(run.worst)}, {bound}"
    if len(run.readings) > 1:
        lasted = wording.hours(hours_between(first.at, last.at))
        title += f" in {len(run.readings)} readings over {lasted}, {batch.span_words(first.at, last.at)}"
    else:
        title += f" at {batch.hour_words(first.at)}"
    ends_at = run.ended_by.at if run.ended_by is not None else run.stage.ends_at
    if run.ended_by is None and _is_roast(kind, run) and verdict.severity != "notice":
        ends_at = _cooled_at(batch, last)
    return raised(
        batch,
        "out_of_limits",
        verdict.severity or "notice",
        run.readings,
        Message(title, _meaning(kind, run), _remedy(kind, run)),
        provenance(verdict.mark, verdict.source),
        ends_at=ends_at,
        caution=cautions.ROAST if _is_near_fire(kind, run) else None,
        worst=run.worst,
        side=run.position,
        unit="c",
        place=first.place,
        cause="warm bed" if _is_warm_bed(kind, run) else "",
    )


def _cooled_at(batch: BatchAt, hot: Reading) -> datetime | None:
    """When grain that was over its limit on a roast was read below it again: heat that is off puts out no fire. None
    while nobody has."""
    programme = batch.programme_at(hot.at)
    limit = programme.limit_for(hot.kind, "kilning") if programme else None
    return next(
        (
            reading.at
            for reading in batch.history.readings(hot.kind)
            if reading.at > hot.at
            and reading.value is not None
            and (reading.value < HOT_C or (reading.place == hot.place and limit and limit.judge(reading.value).is_fine))
        ),
        batch.ended_at,
    )


DRAIN_HOT = "Drain it now, fill up with cold water. Then see whether a sample still chits before you go on."
LET_IT_COOL = "Let it cool before the grain goes in; where it was in it already, see whether a sample still chits."
SELF_HEATING_C = 215.0
"""From memory: from about here on a roast heats itself."""
PAST_BAND = "Pull it now: heat off, then thin and moving."
NEAR_FIRE = "Look every minute, with a spray ready, and end the roast in the band that you want."
FIRE = (
    "Heat off now. Isolate the power before you reach in, and have a spray ready before you let it out: it can light. "
    "If it burns in an oven: door shut, power off."
)


def _remedy(kind: str, run: _Run) -> str:
    if _kills(kind, run):
        return LET_IT_COOL if run.stage.name == "charged" else DRAIN_HOT
    if _is_roast(kind, run) and not _is_near_fire(kind, run):
        return PAST_BAND
    if _is_near_fire(kind, run):
        return NEAR_FIRE if run.verdict.severity == "notice" else FIRE
    remedy = _REMEDY[kind, run.position]
    if _is_warm_bed(kind, run) and run.verdict.severity != "notice":
        return f"{remedy[:-1]}; measure again within an hour."
    return remedy


def _how_hot(water_c: float) -> str:
    return "hot enough to kill the grain" if water_c > KILLS_FROM_C else "so warm that grain may die in it"


def _kills(kind: str, run: _Run) -> bool:
    return kind == "water_temperature" and not HOT_WATER.judge(run.worst).is_fine


def _is_roast(kind: str, run: _Run) -> bool:
    """Grain is held against a limit on the kiln only while it is roasted: a malt has its ceiling there."""
    return run.stage.name == "kilning" and kind == "grain_temperature" and run.position == "high"


def _is_near_fire(kind: str, run: _Run) -> bool:
    return _is_roast(kind, run) and run.worst >= SELF_HEATING_C


def _is_warm_bed(kind: str, run: _Run) -> bool:
    return kind == "grain_temperature" and run.position == "high" and run.stage.name != "kilning"


def _meaning(kind: str, run: _Run) -> str:
    if _kills(kind, run):
        dies = "Grain dies" if run.worst > KILLS_FROM_C else "Grain may die"
        return f"{dies} in it, the sooner the hotter: seed is held at {wording.temperature(52.0)} for ten minutes."
    if _is_roast(kind, run) and not _is_near_fire(kind, run):
        return "Past the band of this roast it darkens by the minute."
    if _is_near_fire(kind, run):
        return "The grain is hotter than the programme wants it; a roast this hot is near catching fire."
    return _MEANING[kind, run.position]


def _where(place: str | None) -> str:
    return f" ({place})" if place else ""


_PLANNED = (("air_rest", "air_rest_h", 1.0), ("stewing", "stewing_h", 1.0), ("germination", "germination_d", 24.0))
_OVERDUE = {
    "air_rest": (
        "The grain dries at the top and warms inside; the plan counts on water by now.",
        "Steep on, or cast if it is wet enough and chits. Smell it first: it has been without air inside.",
    ),
    "stewing": (
        "Stewed for longer than planned, the malt darkens beyond what you want.",
        "Look at cut kernels; let the steam out and dry.",
    ),
    "germination": (
        "Each further day burns dry matter.",
        "Rub kernels out and count acrospires: load the kiln, or write down why it goes on.",
    ),
}


def _came_hot(batch: BatchAt, stage: Stage) -> bool:
    """A stewing that is cooler than its floor has yet to begin: that flag has the say."""
    programme = batch.programme_at(stage.starts_at)
    limit = programme.limit_for("grain_temperature", "stewing") if programme else None
    inside = [reading for reading in batch.history.readings("grain_temperature") if stage.covers(reading.at)]
    if limit is None or not inside or inside[-1].value is None:
        return True
    return limit.judge(inside[-1].value).position != "low"


def stage_overdue(batch: BatchAt) -> Iterator[Flag]:
    """A rest, a stewing or a germination that goes on longer than planned."""
    for name, key, hours_each in _PLANNED:
        for stage in batch.stages_named(name):
            programme = batch.programme_at(stage.starts_at)
            lasted = stage.hours(batch.now)
            over = overrun(
                programme.limit(key) if programme else None, stage.starts_at, lasted / hours_each, hours_each
            )
            fact = batch.history.by_id(stage.fact_id)
            if over is None or fact is None or (name == "stewing" and not _came_hot(batch, stage)):
                continue
            planned = wording.hours(over.bound * hours_each)
            title = f"{stage.word.capitalize()} for {wording.hours(lasted)}, more than {planned}"
            yield raised(
                batch, "stage_overdue", over.severity, [fact],
                Message(title, *_OVERDUE[name]), over.source,
                starts_at=over.starts_at, ends_at=stage.ends_at, worst=lasted, unit="h",
            )  # fmt: skip


LEAVE = "Leave now, open everything, and don't go in alone."
AIR_IT = "Open doors and windows before you stay."
OPEN_NOTHING = "Out now, open nothing, and call the fire brigade."
"""Of either gas, where something smoulders: air feeds it."""


class Gas(NamedTuple):
    """A gas in a room: its limit for people, what to do beyond either bound, and what it does unnoticed."""

    word: str
    limit: Limit
    leave: str
    air_it: str
    meaning: str
    caution: cautions.Caution


GASES: Mapping[str, Gas] = MappingProxyType(
    {
        "co2_room": Gas("CO₂", ROOM_CO2, LEAVE, AIR_IT, "Breathing it dulls you before you notice.", cautions.CO2),
        "co_room": Gas(
            "CO",
            ROOM_CO,
            "Out now, everybody. Fuel off from outside; nobody goes back in.",
            "Fuel off, open doors and windows, and go out until it is gone.",
            "It has no smell, and dulls you before you notice.",
            cautions.CO,
        ),
    }
)
"""By the kind of the reading."""


def room_verdict(reading: Reading) -> Verdict | None:
    """A gas in the room against the limit for people; None where nothing was read."""
    limit = GASES[reading.kind].limit
    if reading.quality == "over_range":
        # More than the meter shows may be any amount.
        return Verdict("high", "act", limit.high_act, "P", f"{limit.source}; beyond the meter's range: from memory")
    worst = room_worst(reading)
    return None if worst is None else limit.judge(worst)


def room_worst(reading: Reading) -> float | None:
    """What was read, or the most since the last look where that was told too."""
    return max((each for each in (reading.value, reading.highest) if each is not None), default=None)


def room_words(reading: Reading, verdict: Verdict) -> str:
    """What was read, and which bound it is beyond."""
    word = GASES[reading.kind].word
    if reading.quality == "over_range":
        return f"{word} in the room: more than the meter can show"
    return f"{word} in the room {room_worst(reading):.0f} ppm, above {verdict.bound:.0f} ppm"


def room_remedy(reading: Reading, verdict: Verdict) -> str:
    gas = GASES[reading.kind]
    return gas.leave if verdict.severity == "act" else gas.air_it


def smoulders(batch: BatchAt) -> bool:
    """Whether scorch or smoke was seen, and nobody has seen to it: nothing is opened then, for any gas."""
    return any(each.is_open for each in answered(batch.whole, list(seen(SCORCH, batch)), batch.now))


def room_air(batch: BatchAt) -> Iterator[Flag]:
    """A gas in the room, each run of readings above the limit as one flag."""
    for kind in GASES:
        run: list[Reading] = []
        for reading in [*batch.history.readings(kind), None]:
            verdict = room_verdict(reading) if reading is not None else None
            if reading is not None and verdict is not None and not verdict.is_fine:
                run.append(reading)
            elif run and (reading is None or verdict is not None):
                yield _air_flag(batch, run, reading)
                run = []


AIR_HOLDS = timedelta(hours=12)
"""The air of a room is another half a day later, better or worse: from memory. Then it is to be measured anew."""


def _air_flag(batch: BatchAt, run: Sequence[Reading], ended_by: Reading | None) -> Flag:
    ends_at = ended_by.at if ended_by is not None else batch.ended_at
    if run[-1].at + AIR_HOLDS <= batch.now:
        ends_at = min(ends_at or batch.now, run[-1].at + AIR_HOLDS)
    worst = max(run, key=lambda reading: (reading.quality == "over_range", room_worst(reading) or 0.0))
    verdict, gas = room_verdict(worst) or Verdict("in"), GASES[worst.kind]
    remedy = OPEN_NOTHING if ends_at is None and smoulders(batch) else room_remedy(worst, verdict)
    return raised(
        batch, "room_air", verdict.severity or "caution", run,
        Message(room_words(worst, verdict), gas.meaning, remedy),
        provenance(verdict.mark, verdict.source),
        ends_at=ends_at, caution=gas.caution, worst=room_worst(worst), unit="ppm", place=run[0].place,
    )  # fmt: skip


RULES = (
    Rule("out_of_limits", "Out of limits", out_of_limits),
    Rule("stage_overdue", "Longer than planned", stage_overdue),
    Rule("room_air", "Air in the room", room_air),
)
