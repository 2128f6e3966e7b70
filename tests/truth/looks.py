"""What the house says of a simulated batch, look by look, and what was so.

A look gets the record as it was at its moment and nothing told later, of any kind. The truth is the simulator's, which
shares no code and no formula with what is looked at.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Reading, StageChange, Tally, Weighing
from app.judgement.flags import Flag, evaluate
from app.judgement.forecasts.band import Value, When
from app.judgement.forecasts.forecast import moisture_value
from app.judgement.forecasts.moisture import determinations
from app.judgement.forecasts.unforeseen import unforeseen
from app.judgement.grain.counts import growth_counts
from app.judgement.programmes.programme import load_builtin
from app.judgement.slips.questions import looks_like_a_slip
from app.judgement.steps.next_steps import ranked
from app.judgement.steps.ranking import Ranked
from tests.benchmarks.known_by import known_by, told_at
from tests.truth.faults import Planted
from tests.truth.malting import Truth
from tests.truth.run import Run

SOON, LATER = timedelta(minutes=2), timedelta(hours=3)
PARTS = {"immersion": "steep", "air_rest": "steep", "germination": "floor", "kilning": "kiln"}


@dataclass(frozen=True)
class Claim:
    """A quantity as it was said with its 80 % interval, and as it was; moments in hours of the batch.

    seen: how many determinations of it were known. naive: what was determined last. left: for a moment, how many hours
    off it truly was. most: what nothing can be above: of moisture, what was loaded, or what grain takes up at all.
    """

    quantity: str
    seen: int
    central: float
    low: float
    high: float
    truth: float
    naive: float | None = None
    left: float | None = None
    most: float = math.inf

    @property
    def is_absurd(self) -> bool:
        return self.low < 0.0 or self.high > self.most + 0.001 or not self.low <= self.central <= self.high

    @property
    def held(self) -> bool:
        return self.low <= self.truth <= self.high


@dataclass(frozen=True)
class Raised:
    """A flag that stood at a look. is_true: whether the truth bears it out; None where the simulator can't say.

    is_of_fault: whether it tells of the planted fault's own entries.
    """

    rule: str
    severity: str
    title: str
    is_true: bool | None
    is_of_fault: bool


@dataclass(frozen=True)
class Look:
    """One look at a batch, at an hour from its first water. steps: what it was told to do next.

    is_asked: whether the entry that first showed the planted fault was asked about as it was made.
    against: of what was said to be done now, the pairs that nobody can do both of.
    """

    batch: str
    person: str
    fault: str | None
    in_time: bool
    is_asked: bool
    hour: float
    flags: tuple[Raised, ...]
    steps: tuple[str, ...]
    against: tuple[tuple[str, str], ...]
    claims: tuple[Claim, ...]


def name_of(run: Run) -> str:
    fault = f", {run.fault.name}" if run.fault else ""
    return f"{run.which} {run.grain} {run.setting} {run.person} {run.seed}{fault}"


def looks(run: Run, at_most: int) -> Iterator[Look]:
    """Looks just after an entry and three hours later, spread evenly over those that there could be.

    Where a fault was planted, over those at which it shows and can still be mended.
    """
    moments = moments_of(run)
    if run.fault is not None:
        first, last = (
            run.hour_zero + timedelta(hours=hour) for hour in (run.fault.starts_h, run.fault.mendable_until_h)
        )
        moments = [moment for moment in moments if first <= moment <= last]
    count = min(at_most, len(moments))
    for place in range(count):
        yield look_at(run, moments[round(place * (len(moments) - 1) / max(count - 1, 1))])


def moments_of(run: Run) -> list[datetime]:
    """Those at which somebody may look: until the last entry was made."""
    told = {told_at(fact_from_record(each)) for each in run.records if each.get("record", "fact") == "fact"}
    return sorted({each + wait for each in told for wait in (SOON, LATER) if each + wait <= max(told) + SOON})


def look_at(run: Run, moment: datetime) -> Look:
    """What is said of the batch at a moment."""
    history = known_by(run.records, moment)
    hour = (moment - run.hour_zero).total_seconds() / 3600.0
    # What has just ended, as by heat that was taken off, still stands on the page.
    flags = evaluate(history, moment)
    standing = [flag for flag in flags if flag.ends_at is None or flag.ends_at > moment - LATER]
    fault = run.fault
    to_do = ranked(history, moment)
    return Look(
        batch=name_of(run),
        person=run.person,
        fault=fault.name if fault else None,
        in_time=fault is not None and fault.starts_h <= hour <= fault.mendable_until_h,
        is_asked=fault is not None and is_asked_about(run, fault),
        hour=hour,
        flags=tuple(
            Raised(flag.rule, flag.severity, flag.title, is_true(run, flag, hour), is_of(fault, run, flag))
            for flag in standing
        ),
        steps=tuple(step.what for step in to_do.steps),
        against=tuple(contradictions(to_do, moment)),
        claims=tuple(claims(run, batch_at(history, moment), hour)),
    )


def is_of(fault: Planted | None, run: Run, flag: Flag) -> bool:
    """Whether a flag names an entry in which the fault is seen; of a stage that lasts too long, its beginning."""
    if fault is None:
        return False
    lasts = flag.rule in LASTS and (flag.ends_at is None or _hour(run, flag.ends_at) >= fault.starts_h)
    return lasts or not fault.shown_by.isdisjoint(flag.fact_ids)


def is_asked_about(run: Run, fault: Planted) -> bool:
    """Whether what first shows a fault gets a question of the kind that a form puts before it keeps an entry."""
    facts = [fact_from_record(each) for each in run.records if each["id"] in fault.shown_by]
    first = min(facts, key=lambda each: (told_at(each), each.id))
    before = known_by([each for each in run.records if each["id"] != first.id], told_at(first))
    return bool(unforeseen(first, before) or looks_like_a_slip(first, before))


SAYS = {
    "grow on": r"let it go on|for some hours more|degree or two warmer",
    "load": r"\bload the kiln|\bstew, covered",
    "dry on": r"back on the kiln|dry on\b|heat on",
    "fire": r"fire the kiln|heat on|raise the (air|heat)",
    "bag": r"(?<!; )\bbag it\b|weigh the malt|finish the batch|strip the kiln|rub (off )?(the )?culms",
    "drain": r"(?<!or )\bdrain\b(?! well)",
    "stand": r"let it stand|steep on|one more steep|change the water|change to cooler water(?!, or drain)",
    "raise": r"raise the (air|heat)",
    "cool": r"lower the air|heat off",
    "handle": r"(?<!don't )(?<!don’t )\bturn\b|break them up|count the growth|rub kernels out",
    "leave": r"don.t turn|reject the charge|don.t malt|leave it lying",
    "wet": r"\bspray it|sprinkle,|spray the couch|spray if",
    "no water": r"no more (water|spraying)",
    "open": r"open (everything|doors|windows)",
    "shut": r"doors shut|open nothing",
}
OPPOSITES = (
    ("grow on", "load"), ("wet", "load"), ("dry on", "bag"), ("stand", "drain"), ("raise", "cool"), ("fire", "cool"),
    ("handle", "leave"), ("grow on", "leave"), ("load", "leave"), ("bag", "leave"), ("wet", "no water"),
    ("open", "shut"),
)  # fmt: skip
"""By the words that a person reads, whatever they come from."""


def contradictions(to_do: Ranked, moment: datetime) -> Iterator[tuple[str, str]]:
    """What is asked for now, by the first step, by what is due, and by flags, of which nobody can do both."""
    steps = [step.what for place, step in enumerate(to_do.steps) if place == 0 or step.due_at <= moment]
    said = [*steps, *(judged.flag.remedy for judged in to_do.flags if judged.is_open)]
    for one, other in OPPOSITES:
        for first in said:
            for second in said:
                if first != second and re.search(SAYS[one], first, re.I) and re.search(SAYS[other], second, re.I):
                    yield first, second


def is_true(run: Run, flag: Flag, hour: float) -> bool | None:
    """Whether it is so, or was while the flag stood, by the simulator alone."""
    truth, first = run.truth, _hour(run, flag.starts_at)
    last = hour if flag.ends_at is None else min(_hour(run, flag.ends_at), hour)
    end = min(last, truth.cast_h)
    match flag.rule:
        case "turning_due":
            return _longest_unturned_h(run, first - TURNED_WITHIN_H, last) > TURNED_WITHIN_H
        case "warm_and_wet":
            return _warm_and_wet_h(truth, first - WARM_WET_H, last) >= WARM_WET_H - 0.5
        case "silent":
            return last - max([each for each in _looked_h(run) if each < last], default=0.0) > SILENT_H
        case "lot_undeclared" | "lot_untested" | "lot_test_old":
            return True
        case "oversteeped":
            return truth.moisture(end) > _limit(run, "cast_moisture", "high_caution") - HARDLY_WB
        case "dry_at_cast":
            return truth.moisture(end) < _limit(run, "cast_moisture", "low_caution") + HARDLY_WB
        case "bed_moisture":
            low, high = (_limit(run, "cast_moisture", edge) for edge in ("low_caution", "high_caution"))
            bed = [wb for each in _between(truth, first, last) for wb in truth.layer_moistures(each)]
            return min(bed) < low + HARDLY_WB if "dries out" in flag.title else max(bed) > high - HARDLY_WB
        case "not_dry_enough":
            return truth.moisture(last) > _limit(run, "final_moisture", "high_caution") - HARDLY_WB
        case "growth_stalled":
            at = {each["id"]: datetime.fromisoformat(each["at"]) for each in run.records if each["id"] in flag.fact_ids}
            return has_stalled(run, _hour(run, min(at.values())), _hour(run, max(at.values())))
        case "past_target":
            return truth.overgrown(last) > OVERGROWN_SHARE
        case "over_ceiling":
            return _is_over_ceiling(run, first, last)
        case "out_of_limits":
            return _is_out(run, flag, first, last)
        case "stage_overdue" | "long_under_water" | "chitted_under_water":
            return any(stage in LASTS[flag.rule] and end - start > _allowed_h(run, flag.rule, stage) - 0.2
                       for stage, start, end in truth.spans if start <= last and end >= first)  # fmt: skip
    return None


def has_stalled(run: Run, first: float, last: float) -> bool:
    """Whether it grew at less than half of the plan's mean pace in these hours."""
    points = load_builtin()[run.programme].planned_curve("acrospire")
    pace = (points[-1][1] - points[0][1]) / (points[-1][0] - points[0][0])
    return run.truth.growth(last) - run.truth.growth(first) < 0.5 * pace * (last - first)


TURNED_WITHIN_H, OVERGROWN_SHARE = 10.0, 0.15
"""Later than the programmes want a bed turned; and more than the published share that does no harm (CMBTC 2012)."""

WARM_C, WET_WB, WARM_WET_H, SILENT_H = (22.0, 48.0), 0.25, 6.0, 11.9
JUST_BEFORE_H = 0.5
"""What was read is of the step of the simulator before it."""

HARDLY_WB, HARDLY_C = 0.005, 0.5
"""Nearer to a limit than a bag or a probe can tell is as good as beyond it: M."""

LASTS = {
    "stage_overdue": ("air_rest", "stewing", "germination"),
    "long_under_water": ("immersion",),
    "chitted_under_water": ("immersion",),
}


def _hour(run: Run, moment: datetime) -> float:
    return (moment - run.hour_zero).total_seconds() / 3600.0


def _between(truth: Truth, first: float, last: float) -> list[float]:
    return [hour for hour in truth.hours if first - JUST_BEFORE_H <= hour <= last] or [last]


def _longest_unturned_h(run: Run, first: float, last: float) -> float:
    """The longest stretch between two turns that lies in these hours at least in part; of two beds, of either."""
    names = {place for _, kind, place in run.truth.events if kind == "turned"} or {""}
    longest = 0.0
    for name in names:
        done = [at for at, kind, place in run.truth.events if kind == "cast" or (kind == "turned" and place == name)]
        marks = [at for at in sorted(done) if at <= last] + [min(last, run.truth.loaded_h)]
        longest = max([longest, *(later - at for at, later in pairwise(marks) if later >= first)])
    return longest


def _warm_and_wet_h(truth: Truth, first: float, last: float) -> float:
    """For how long some place was as warm and wet as moulds like it, at a stretch."""
    longest = 0.0
    for place in truth.places[-1] | truth.places[len(truth.places) // 2]:
        since: float | None = None
        for hour in _between(truth, first, last):
            is_so = WARM_C[0] <= truth.grain_temperature(hour, place) <= WARM_C[1] and truth.moisture(hour) > WET_WB
            since = (hour if since is None else since) if is_so else None
            longest = max(longest, hour - since) if since is not None else longest
    return longest


def _looked_h(run: Run) -> list[float]:
    """When anybody looked and wrote it down, whenever that was written."""
    facts = [fact_from_record(each) for each in run.records if each.get("record", "fact") == "fact"]
    looked = [fact for fact in facts if isinstance(fact, Reading | Weighing | Tally) or fact.kind == "inspection"]
    begun = [fact for fact in facts if isinstance(fact, StageChange)]
    return [_hour(run, fact.at) for fact in (*looked, *begun)]


def _is_over_ceiling(run: Run, first: float, last: float) -> bool:
    """Whether grain of some layer was hotter than the programme lets grain as moist as that layer be."""
    truth, programme = run.truth, load_builtin()[run.programme]
    for hour in _between(truth, first, last):
        layers, places = truth.layer_moistures(hour), truth.places[truth.index(hour)]
        of_place = {"bottom": layers[0], "middle": layers[len(layers) // 2], "top": layers[-1]}
        for place, wb in of_place.items():
            ceiling_c = programme.ceiling_c(wb)
            if ceiling_c is not None and place in places and places[place] > ceiling_c - HARDLY_C:
                return True
    return False


def _is_out(run: Run, flag: Flag, first: float, last: float) -> bool | None:
    """Of the grain on the floor; of water and air the simulator keeps no course."""
    if not flag.title.startswith("Grain") or run.truth.stage(first) not in ("air_rest", "germination"):
        return None
    stage, place = run.truth.stage(first), flag.place or "middle"
    read = [run.truth.grain_temperature(hour, place) for hour in _between(run.truth, first, last)]
    if ", above" in flag.title:
        return max(read) > _limit(run, f"grain_temperature.{stage}", "high_caution") - HARDLY_C
    return min(read) < _limit(run, f"grain_temperature.{stage}", "low_caution") + HARDLY_C


def _allowed_h(run: Run, rule: str, stage: str) -> float:
    if rule == "chitted_under_water":
        return _limit(run, "immersion_chitted_h", "high_caution")
    key, hours_each = {
        "immersion": ("immersion_h", 1.0), "air_rest": ("air_rest_h", 1.0), "stewing": ("stewing_h", 1.0),
        "germination": ("germination_d", 24.0),
    }[stage]  # fmt: skip
    return hours_each * _limit(run, key, "high_caution")


def _limit(run: Run, key: str, edge: str) -> float:
    limit = load_builtin()[run.programme].limit(key)
    bound: float | None = getattr(limit, edge, None)
    return (math.inf if edge.startswith("high") else 0.0) if bound is None else bound


def claims(run: Run, batch: BatchAt, hour: float) -> Iterator[Claim]:
    """All that is said with an interval, and what was so; nothing where nobody has told yet what stage it is in."""
    if batch.stage is None or not batch.is_live or batch.stage.name != run.truth.stage(hour):
        return
    stage, told, truth = batch.stage.name, batch.forecast, run.truth
    moist = [each.moisture_wb for each in determinations(batch.history) if each.basis != "charged"]
    grown = [each.mean for each in growth_counts(batch.history)]
    if stage in PARTS:
        most = _most_wb(batch) if stage == "kilning" else WETTEST_WB
        yield from _value(f"moisture, {PARTS[stage]}", told.moisture, truth.moisture(hour), moist, most)
    if told.acrospire is not None:
        yield from _value("growth", told.acrospire, truth.growth(hour), grown, LONGEST)
    yield from _moment("hours to the end of growth", told.grown, _grown_h(run), run, hour, len(grown))
    dry = told.kiln.dry if told.kiln else None
    yield from _moment("hours to dry", dry, _dry_h(run), run, hour, len(moist))
    yield from _moment("hours to the cast, by the plan", told.cast_by_plan, _cast_h(run), run, hour, len(moist))


WETTEST_WB, LONGEST = 0.6, 3.0
"""No grain takes up more, and no acrospire of a malt is longer, in kernel lengths: M."""


def _most_wb(batch: BatchAt) -> float:
    """The upper edge of what the last load was loaded with, as it is said now."""
    loaded = batch.history.of_kind("loaded")
    high = moisture_value(batch.history, loaded[-1].at).high if loaded else None
    return WETTEST_WB if high is None else high


def _value(quantity: str, value: Value, truth: float, seen: list[float], most: float = math.inf) -> Iterator[Claim]:
    if value.central is not None and value.low is not None and value.high is not None:
        naive = seen[-1] if seen else None
        yield Claim(quantity, len(seen), value.central, value.low, value.high, truth, naive, most=most)


def _moment(
    quantity: str, when: When | None, truth_h: float | None, run: Run, hour: float, seen: int
) -> Iterator[Claim]:
    """Only of what is still to come: a moment that is past is no forecast."""
    if when is None or when.central is None or truth_h is None or truth_h <= hour:
        return

    def hours(moment: datetime) -> float:
        return (moment - run.hour_zero).total_seconds() / 3600.0

    low = hour if when.low is None else hours(when.low)
    high = math.inf if when.high is None else hours(when.high)
    yield Claim(quantity, seen, hours(when.central), low, high, truth_h, left=truth_h - hour)


def _dry_h(run: Run) -> float | None:
    """When the wettest tray was dry enough; of a bed, its mean. The target is the middle of the programme's."""
    truth, target = run.truth, _middle(run, "final_moisture")

    def moisture(hour: float) -> float:
        return truth.wettest_tray(hour) if run.setting == "kitchen" else truth.moisture(hour)

    return _first(run, lambda hour: hour > truth.heat_on_h and moisture(hour) <= (target or 0.0))


def _grown_h(run: Run) -> float | None:
    target = _middle(run, "acrospire")
    return _first(run, lambda hour: target is not None and run.truth.growth(hour) >= target)


def _cast_h(run: Run) -> float | None:
    """When the steep came to the target; where it was cast before that, when it would have, left in its last water.

    Else only grain that takes up water faster than was planned would be counted.
    """
    target, truth = _middle(run, "cast_moisture"), run.truth
    if target is None:
        return None
    reached = _first(run, lambda hour: hour <= truth.cast_h and truth.moisture(hour) >= target)
    return reached or next((hour for hour, wb in truth.had_it_stayed if wb >= target), None)


def _first(run: Run, is_so: Callable[[float], bool]) -> float | None:
    return next((hour for hour in run.truth.hours if is_so(hour)), None)


def _middle(run: Run, key: str) -> float | None:
    limit = load_builtin()[run.programme].limit(key)
    if limit is None or limit.target_low is None or limit.target_high is None:
        return None
    return (limit.target_low + limit.target_high) / 2.0
