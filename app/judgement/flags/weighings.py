"""Weighings that can't be read: bags and trays without a start, and lighter than the dry matter that is in them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Weighing
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.forecasts.moisture import charged, net_of, tray_start

AT_THE_LOADING = timedelta(hours=1)
LEAST_LEFT = {"test_bag": 0.88, "charge_weighing": 0.7, "tray": 1.0}
"""Of the dry matter weighed in, what is left at the least: the rest may be gone with steep water, breath and rootlets,
and from a charge by skimming and samples. From memory."""


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
    starts = [each for each in batch.history.of_shape(Weighing, "test_bag_start") if each.vessel == weighing.vessel]
    start = batch.history.last_before(weighing.at, starts)
    if start is None:
        return None
    whole = charged(batch.history)
    moisture_wb = start.moisture_wb if start.moisture_wb is not None else (whole.moisture_wb if whole else None)
    return None if moisture_wb is None else start.net_kg * (1.0 - moisture_wb)


RULES = (
    Rule("no_start", "Weighed without a start", no_start),
    Rule("lighter_than_dry", "Lighter than its dry matter", lighter_than_dry),
)
