"""What the forms that begin a batch offer: sources, programmes with their plans, and what was used last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup
from sqlalchemy.orm import Session

from app import ports
from app.charts.ribbon import Segment, ribbon_svg
from app.judgement import rules_version
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages
from app.judgement.programmes.programme import Programme
from app.judgement.wording import Words
from app.store.batches import find_last_programme, list_batches, list_vessels
from app.store.digests import list_ended, list_live_ids
from app.store.history import load_histories
from app.store.programmes import list_programmes
from app.web.entries.times import local_text
from app.web.grain.sources import CHOICES, Source, batch_source, ended_sources, pack_sources
from app.web.words.programmes import GRAIN_ORDER, USE_ORDER, grain_of, hottest_c, use_of

TEXTS = {
    "charge": ("Charge a batch", "Grain is weighed into a batch, with its moisture now.", "Begin the batch"),
    "split": ("Split off", "Part of this batch goes its own way, with a programme of its own.", "Split it off"),
    "merge": ("Merge", "Batches that go on as one, on one kiln or one floor.", "Merge them"),
    "roast_charge": ("Roast", "Finished malt goes into the roaster as a batch of its own.", "Begin the roast"),
    "pack": ("Pack", "Malt of this batch goes into a sack or a jar with a name.", "Pack it"),
}


@dataclass(frozen=True)
class ProgrammeCard:
    """A programme to choose, with its plan drawn. is_likely: made for this grain, and for this way of beginning.

    group: what it is for, where it is likely, else the grain that it is for.
    """

    digest: str
    name: str
    about: str
    note: str
    plan: Markup
    is_likely: bool
    group: str


def programme_choices(session: Session, kind: str) -> list[tuple[str, str]]:
    """Every programme on offer, as choices of a field; none for packing."""
    return [] if kind == "pack" else [(programme.digest, programme.name) for programme in list_programmes(session)]


def programme_cards(programmes: Sequence[Programme], species: str, kind: str) -> list[ProgrammeCard]:
    """The programmes, those made for this grain first, by what they are for; then the others by their grain."""
    longest = max((stage.end_h for programme in programmes for stage in programme.planned_stages()), default=1.0)
    by_use = sorted(programmes, key=_by_use)
    cards = [_card(programme, species, kind, longest) for programme in by_use]
    return sorted(cards, key=lambda card: (not card.is_likely, _ORDER[card.is_likely].index(card.group)))


def _by_use(programme: Programme) -> tuple[int, float]:
    """Those for one use in the order of their names, as they come; roasts from the palest to the darkest."""
    return USE_ORDER.index(use_of(programme)), hottest_c(programme) if programme.purpose == "roasted" else 0.0


_ORDER = {True: USE_ORDER, False: GRAIN_ORDER}


def _card(programme: Programme, species: str, kind: str, longest_h: float) -> ProgrammeCard:
    plan = programme.planned_stages()
    segments = [Segment(stage.stage, stage.start_h, stage.end_h) for stage in plan]
    is_roast = programme.purpose == "roasted"
    hours = plan[-1].end_h - plan[0].start_h
    length = f"{hours / 24:.0f} days" if hours > 48 else f"{hours:.1f} h"
    words = [programme.scale, ", ".join(programme.species), length]
    total = None if is_roast else longest_h
    drawn = ribbon_svg(segments, label=f"Plan of {programme.name}", hours_total=total, height=12)
    is_likely = species in programme.species and is_roast == (kind == "roast_charge")
    group = use_of(programme) if is_likely else grain_of(programme)
    about = " · ".join(words)
    return ProgrammeCard(programme.digest, programme.name, about, programme.note, Markup(drawn), is_likely, group)


def likeliest(session: Session, species: str, kind: str, source_programme: str | None = None) -> str | None:
    """The programme to offer as chosen: that of the last batch of this grain, else the first made for it."""
    offered = {programme.digest: programme for programme in list_programmes(session)}
    for digest in (source_programme, find_last_programme(session, species)):
        if digest in offered and (offered[digest].purpose == "roasted") == (kind == "roast_charge"):
            return digest
    cards = programme_cards(list(offered.values()), species, kind)
    base = [card for card in cards if card.is_likely and offered[card.digest].purpose in ("base", "roasted")]
    return base[0].digest if base else (cards[0].digest if cards else None)


def choices_for_roast(session: Session, words: Words, wanted: str) -> list[Source]:
    """Finished batches and packs with something left, the newest first; and the one asked for, whatever it is."""
    asked = [wanted.removeprefix("batch:")] if wanted.startswith("batch:") else []
    behind = list_live_ids(session, rules_version())[:CHOICES]
    histories = load_histories(session, list(dict.fromkeys([*asked, *behind])))
    first, after = ([histories[each] for each in ids if each in histories] for ids in (asked, behind))
    ended = [
        (batch, digest)
        for batch, digest in list_ended(session, rules_version(), limit=CHOICES)
        if digest.stage == "finished" and batch.id not in asked
    ]
    from_batches = [
        *(batch_source(each, words) for each in first),
        *ended_sources(session, ended, words),
        *(batch_source(each, words) for each in after if _is_finished(each) and each.batch.id not in asked),
    ]
    return [*pack_sources(session, histories, words), *(each for each in from_batches if each.left_kg != 0.0)]


def choices_for_merge(session: Session, words: Words, number: int) -> list[Source]:
    """The other live batches."""
    ids = list_live_ids(session, rules_version())[:CHOICES]
    sources = [history for history in load_histories(session, ids).values() if history.batch.number != number]
    return [batch_source(each, words) for each in sources if not _has_ended(each)]


def _is_finished(history: History) -> bool:
    told_stages = all_stages(history)
    return bool(told_stages) and told_stages[-1].name == "finished"


def _has_ended(history: History) -> bool:
    told_stages = all_stages(history)
    return bool(told_stages) and told_stages[-1].name in ("finished", "abandoned")


def blank(session: Session, kind: str, source: Source, count: int, words: Words, zone: ZoneInfo) -> dict[str, Any]:
    """What a fresh form holds: ids, the source's moisture, the likeliest programme, the vessel of the batch."""
    assert words.now is not None
    values: dict[str, Any] = {"id": ports.new_id(), "at": local_text(words.now, zone)}
    values |= {f"id_{place}": ports.new_id() for place in range(count)}
    values |= {f"known_{place}": "lot" if kind == "charge" else "assumed" for place in range(count)}
    if source.moisture_wb is not None:
        values["moisture_0"] = f"{100 * source.moisture_wb:.1f}"
    elif kind == "charge":
        values["known_0"] = "measured"
    if kind == "pack":
        return values
    if source.reference.startswith("batch:"):
        batch = list_batches(session, ids=[source.reference.removeprefix("batch:")])[0]
        values["vessel"] = batch.vessel if kind == "merge" else ""
        return values | {"programme": likeliest(session, source.species, kind, batch.programme)}
    return values | {"programme": likeliest(session, source.species, kind)}


def form_context(session: Session, form: Any) -> dict[str, Any]:
    """What the page of a form shows beside it."""
    title, about, button = TEXTS[form.kind]
    source = form.sources[str(form.rows[0].source.data)]
    context: dict[str, Any] = {"page_title": title, "about": about, "button": button}
    if form.kind != "pack":
        context["cards"] = programme_cards(list_programmes(session), source.species, form.kind)
        context["vessels"] = list_vessels(session)
    return context
