"""Weighings that can't be read: without a start, lighter than the dry matter in them, or out of their row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Weighing
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.moisture import charged, net_of, tray_start
from app.judgement.grain.moisture_samples import SAME_MOMENT, apart_kg
from app.judgement.grain.moisture_trays import is_heavier
from app.judgement.history.history import hours_between
from app.judgement.history.kiln_runs import run_at

AT_THE_LOADING = timedelta(hours=1)
STEEPING = ("immersion", "air_rest")
FILM_KG = 0.05
"""What a bag may weigh more dripping than blotted, of its weight when filled: 1.5 ± 1 points at 40 %. From memory."""
LEAST_LEFT = {"test_bag": 0.88, "charge_weighing": 0.7, "tray": 1.0}
"""Of the dry matter weighed in, what is left at the least: the rest may be gone with steep water, breath and rootlets,
and from a charge by skimming and samples. From memory."""

WEIGHED_WITH_IT = 0.6
"""A weighing without its tare stands out by about that tare: by this share of it at the least. From memory."""


def no_start(batch: BatchAt) -> Iterator[Flag]:
    """Bags never weighed at their start, and trays first weighed long after they were loaded; one flag a vessel."""
    starts = batch.history.of_shape(Weighing, "test_bag_start")
    found: dict[tuple[str, str | None], list[Weighing]] = {}
    for bag in batch.history.of_shape(Weighing, "test_bag"):
        if not any(start.vessel == bag.vessel and start.at <= bag.at for start in starts):
            found.setdefault(("test_bag", bag.vessel), []).append(bag)
    for tray in batch.history.of_shape(Weighing, "tray"):
        loaded_at = _loaded_at(batch, tray.at)
        if tray_start(batch.history, tray) is tray and loaded_at is not None and tray.at - loaded_at > AT_THE_LOADING:
            found.setdefault(("tray", tray.vessel), []).append(tray)
    for (kind, vessel), weighings in found.items():
        yield _no_start_flag(batch, kind, vessel, weighings)


def _loaded_at(batch: BatchAt, moment: datetime) -> datetime | None:
    loads = [fact.at for fact in batch.history.of_kind("loaded") if fact.at <= moment]
    return loads[-1] if loads else None


def _no_start_flag(batch: BatchAt, kind: str, vessel: str | None, weighings: list[Weighing]) -> Flag:
    if kind == "test_bag":
        name = vessel or "The test bag"
        message = Message(
            f"{name} was weighed, but never at its start",
            "Without its first weight and moisture a bag tells nothing of the water taken up.",
            "Write down what it weighed dry, with the time; or name the bag as it was named at its start.",
        )
    else:
        message = Message(
            f"{vessel or 'The tray'} was first weighed {batch.hour_words(weighings[0].at)}, long after it was loaded",
            "Its moisture is reckoned from that weighing and from what was known of the batch then: less sure.",
            "Take an oven moisture of it; next time weigh each tray as it goes in.",
        )
    grown = batch.stages_named("germination") if kind == "test_bag" else []
    ends_at = (grown[0].ends_at if grown else None) or batch.ended_at
    return raised(batch, "no_start", "notice", weighings, message, "derived", ends_at=ends_at, place=vessel)


def lighter_than_dry(batch: BatchAt) -> Iterator[Flag]:
    """Less than the dry matter alone weighs: a tare, a bag or a unit is wrong. One flag a vessel."""
    weighings: dict[tuple[str, str | None], list[tuple[Weighing, float, float]]] = {}
    for weighing in batch.history.of_shape(Weighing, "test_bag", "tray", "charge_weighing"):
        dry_kg, least = _dry_kg(batch, weighing) or 0.0, LEAST_LEFT[weighing.kind]
        if weighing.net_kg < dry_kg * least * 0.999:
            weighings.setdefault((weighing.kind, weighing.vessel), []).append((weighing, dry_kg, least))
    for (_, vessel), light in weighings.items():
        weighing, dry_kg, least = light[-1]
        title = f"{vessel or 'The charge'} at {wording.mass(weighing.net_kg)}, lighter than the dry matter in it: "
        title += (
            f"{wording.mass(dry_kg)} went in, and {wording.mass(least * dry_kg)} of that are left at the least"
            if least < 1.0
            else wording.mass(dry_kg)
        )
        yield raised(
            batch, "lighter_than_dry", "caution", [each for each, *_ in light],
            Message(title, "No moisture can be read from it: the tare, the vessel or the unit is another one.",
                    "Weigh it again, look at its tare, and correct the entry."),
            "derived: dry matter doesn't go away", ends_at=batch.ended_at,
            worst=weighing.net_kg, unit="kg", place=vessel,
        )  # fmt: skip


def _dry_kg(batch: BatchAt, weighing: Weighing) -> float | None:
    """The dry matter that was weighed in."""
    if weighing.kind == "charge_weighing":
        whole = charged(batch.history, weighing.at)
        return None if whole is None or batch.history.departures else whole.dry_kg
    if weighing.kind == "tray":
        start = tray_start(batch.history, weighing)
        estimate = batch.moisture_at(start.at) if start is not None and start is not weighing else None
        return None if start is None or estimate is None else net_of(start, start) * (1.0 - estimate.upper)
    start = _bag_start(batch, weighing)
    if start is None:
        return None
    whole = charged(batch.history)
    moisture_wb = start.moisture_wb if start.moisture_wb is not None else (whole.moisture_wb if whole else None)
    return None if moisture_wb is None else start.net_kg * (1.0 - moisture_wb)


def out_of_row(batch: BatchAt) -> Iterator[Flag]:
    """Grain gets no heavier in the heat, and no lighter under water: bags and trays that say so; one flag a vessel."""
    by_tray: dict[tuple[str | None, str | None], list[Weighing]] = {}
    for tray in batch.history.of_shape(Weighing, "tray"):
        start = tray_start(batch.history, tray)
        if start is not None and tray.quality != "over_range":
            by_tray.setdefault((tray.vessel, start.id), []).append(tray)
    for (vessel, _), trays in by_tray.items():
        net = [net_of(tray, trays[0]) for tray in trays]
        found = _heavier(batch, trays) or _without_tare(trays, net)
        if found is not None:
            yield _row_flag(batch, vessel or "The tray", *found)
    by_bag: dict[str, tuple[Weighing, list[Weighing]]] = {}
    for bag in batch.history.of_shape(Weighing, "test_bag"):
        start, stage = _bag_start(batch, bag), batch.stage_at(bag.at)
        if start is not None and stage is not None and stage.name in STEEPING:
            by_bag.setdefault(start.id, (start, []))[1].append(bag)
    for start, bags in by_bag.values():
        found = _steeped(batch, start, bags)
        if found is not None:
            yield _row_flag(batch, start.vessel or "The test bag", *found)


def _bag_start(batch: BatchAt, bag: Weighing) -> Weighing | None:
    """Its last filling."""
    starts = [each for each in batch.history.of_shape(Weighing, "test_bag_start") if each.vessel == bag.vessel]
    return batch.history.last_before(bag.at, starts)


Found = tuple[list[Weighing], str]


def _heavier(batch: BatchAt, trays: Sequence[Weighing]) -> Found | None:
    for before, after in pairwise(trays):
        # Weighed twice at one look, it is neither heavier nor lighter: the two are one determination.
        is_later = after.at - before.at > SAME_MOMENT
        if is_later and is_heavier(after, before, trays[0], trays) and _is_in_heat(batch, before.at, after.at):
            was, now = (wording.mass(net_of(each, trays[0])) for each in (before, after))
            return [before, after], f"{now} after {was}: grain gets no heavier in the heat"
    return None


def _is_in_heat(batch: BatchAt, first: datetime, last: datetime) -> bool:
    """Whether the heat never stood still between two moments: dry malt without it takes up damp."""
    run = run_at(batch.history, last)
    return run is not None and run.covers(last) and not run.without_heat(first, last)


def _without_tare(trays: Sequence[Weighing], net: Sequence[float]) -> Found | None:
    """Weighed without the tare that it had before, and by about that tare above the straight line to the next."""
    tare_kg = trays[0].tare_kg or 0.0
    for place in range(1, len(trays) - 1):
        before, each, after = trays[place - 1 : place + 2]
        if not tare_kg or each.tare_kg is not None or each.gross_kg is not None or before.tare_kg is None:
            continue
        share = (each.at - before.at) / max(after.at - before.at, timedelta(minutes=1))
        line_kg = net[place - 1] + share * (net[place + 1] - net[place - 1])
        if net[place] - line_kg > max(WEIGHED_WITH_IT * tare_kg, apart_kg(before, each, trays[0], trays)):
            words = (
                f"{wording.mass(net[place])} between {wording.mass(net[place - 1])} and {wording.mass(net[place + 1])}"
            )
            return [each, after], f"{words}: as if the tray was weighed with it"
    return None


def _steeped(batch: BatchAt, start: Weighing, bags: Sequence[Weighing]) -> Found | None:
    """No bag gets lighter in the steep; and none takes up more in an hour under water than in all those before."""
    whole_kg = start.net_kg
    for before, after in pairwise(bags):
        was, now = net_of(before, start), net_of(after, start)
        beyond_kg = apart_kg(before, after, start, bags) + FILM_KG * whole_kg
        words = f"{wording.mass(now)} after {wording.mass(was)}"
        if now < was - beyond_kg:
            return [before, after], f"{words}: grain gets no lighter in the steep"
        wet_h, then_h = (_under_water_h(batch, each.at) for each in (before, after))
        if wet_h > 0.0 and now > was + max(was - whole_kg, 0.0) * (then_h - wet_h) / wet_h + beyond_kg:
            return [before, after], f"{words}: faster than it ever took up water"
    return None


def _under_water_h(batch: BatchAt, moment: datetime) -> float:
    stages = [stage for stage in batch.stages_named("immersion") if stage.starts_at < moment]
    return sum(hours_between(stage.starts_at, min(batch.end_of(stage), moment)) for stage in stages)


def _row_flag(batch: BatchAt, vessel: str, weighings: list[Weighing], why: str) -> Flag:
    return raised(
        batch, "out_of_row", "caution", weighings,
        Message(f"{vessel} at {why}", "One of these weights is not its own: a tare, another vessel, a digit.",
                "Weigh it again now, with its tare, and correct the entry that was wrong."),
        "derived: conservation of mass", starts_at=weighings[-1].at, ends_at=batch.ended_at,
        worst=weighings[-1].net_kg, unit="kg", place=weighings[-1].vessel,
    )  # fmt: skip


RULES = (
    Rule("out_of_row", "A weight out of its row", out_of_row),
    Rule("no_start", "Weighed without a start", no_start),
    Rule("lighter_than_dry", "Lighter than its dry matter", lighter_than_dry),
)
