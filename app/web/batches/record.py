"""Every fact of a batch as rows of its record: who, when, what; what was corrected, struck through below."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby

from app.charts.hover import fact_words
from app.judgement.facts.kind_parts import QUALITIES
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Answer, Fact, Part, Reading, Remark, StageChange, Weighing, Withdrawal
from app.judgement.flags import rule_word
from app.judgement.forecasts.moisture import determinations_by_place
from app.judgement.history.history import History, order
from app.judgement.history.stages import Stage, all_stages, stage_at
from app.judgement.history.superseding import Chain
from app.judgement.wording import Words, in_zone
from app.web.batches.series import Series, series_of
from app.web.summary.flags import ANSWER_WORDS
from app.web.summary.glance import stage_words
from app.web.words.facts import findings_words
from app.web.words.figures import hour_text, unbroken


@dataclass(frozen=True)
class FactRow:
    """One fact. struck: why it no longer holds; empty where it does. is_root: what stands, or stood last."""

    id: str
    hour: str
    clock: str
    word: str
    value: str
    derived: str
    who: str
    where: str
    note: str
    struck: str = ""
    can_change: bool = False
    is_elsewhere: bool = False
    is_series: bool = False


@dataclass(frozen=True)
class Group:
    """The facts of one stage."""

    title: str
    rows: list[FactRow]


def record_groups(history: History, words: Words, *, is_whole: bool = False) -> list[Group]:
    """The record by stages, each fact followed by what it superseded; a probe's series in one line unless is_whole."""
    told = {
        fact.id: unbroken(words.percent(determination.moisture_wb, determination.half_width)) + determination.together
        for determination in determinations_by_place(history)
        for fact in determination.facts
        if isinstance(fact, Weighing)
    }
    settled = sorted(history.chains, key=lambda chain: order(_head(chain)))
    staged = [(stage_at(all_stages(history), _head(chain).at), chain) for chain in settled]
    groups = []
    for stage, members in groupby(staged, key=lambda each: each[0]):
        chains = [chain for _, chain in members]
        series = {} if is_whole else series_of(chains)
        rows: list[FactRow] = []
        for chain in chains:
            its = series.get(chain.facts[0].id)
            if its is None:
                rows += _chain_rows(chain, history, told, words)
            elif its.first.id == chain.facts[0].id:
                rows.append(_series_row(its, history, words))
        groups.append(Group(_title(stage, history, words), rows))
    return groups


def _series_row(series: Series, history: History, words: Words) -> FactRow:
    first = series.first
    return FactRow(
        id=first.id,
        hour=f"{hour_text(history.hour(first.at))}–{hour_text(history.hour(series.readings[-1].at))}",
        clock=series.clock(words),
        word=f"{KINDS[first.kind].word}, {len(series.readings)} readings:",
        value=series.value(words),
        derived="",
        who=_who(first),
        where=_where(first),
        note="",
        is_series=True,
    )


def _head(chain: Chain) -> Fact:
    """What stands of a chain, or what stood last."""
    said = [fact for fact in chain.facts if not isinstance(fact, Withdrawal)]
    return said[-1] if said else chain.facts[-1]


def _title(stage: Stage | None, history: History, words: Words) -> str:
    if stage is None:
        return "Before the batch"
    name = stage_words(stage, stage.ends_at or stage.starts_at, words).partition(",")[0]
    ends = f"–{hour_text(history.hour(stage.ends_at))}" if stage.ends_at and stage.ends_at != stage.starts_at else ""
    return f"{name[:1].upper()}{name[1:]}, h\u00a0{hour_text(history.hour(stage.starts_at))}{ends}"


def _chain_rows(chain: Chain, history: History, told: dict[str, str], words: Words) -> list[FactRow]:
    head = _head(chain)
    rows = [_row(head, history, words, _why_struck(chain, head, words), told.get(head.id, ""), is_head=True)]
    for earlier in reversed(chain.facts):
        if earlier.id != head.id and not isinstance(earlier, Withdrawal):
            rows.append(_row(earlier, history, words, _why_struck(chain, earlier, words), ""))
    return rows


def _why_struck(chain: Chain, fact: Fact, words: Words) -> str:
    """By whom and why a fact no longer holds."""
    place = chain.facts.index(fact)
    if place + 1 == len(chain.facts):
        return ""
    later = chain.facts[place + 1]
    who = later.entered_by or later.person
    by = f" by {who}" if who else ""
    at = words.clock(later.written_at or later.received_at or later.at)
    if isinstance(later, Withdrawal):
        return f"struck out{by}, {at}" + (f": {later.reason}" if later.reason else "")
    return f"corrected{by}, {at}" + (f": {later.note}" if later.note else "")


def _row(fact: Fact, history: History, words: Words, struck: str, derived: str, *, is_head: bool = False) -> FactRow:
    shown = history.by_id(fact.id) or fact
    return FactRow(
        id=fact.id,
        hour=_hours(fact, history),
        clock=_clock(fact, words, history),
        word=KINDS[fact.kind].word,
        value=_programmes_told(shown, history) or value_words(shown, words),
        derived=derived,
        who=_who(fact),
        where=_where(fact),
        note=fact.note or "",
        struck=struck,
        can_change=is_head and not struck and not isinstance(fact, Answer),
        is_elsewhere=fact.subject.type == "batch" and fact.subject.id != history.batch.id,
    )


def _programmes_told(fact: Fact, history: History) -> str:
    """From which programme the batch was moved to which; two revisions of one name are told apart by their digests."""
    new = history.programmes.get(fact.programme or "") if isinstance(fact, StageChange) else None
    if new is None:
        return ""
    old = history.programme_at(fact.at - timedelta.resolution)
    if old is None:
        return f"to {new.name}"
    names = [f"{each.name} ({each.digest[:7]})" if old.name == new.name else each.name for each in (old, new)]
    return f"from {names[0]} to {names[1]}"


def _hours(fact: Fact, history: History) -> str:
    first = hour_text(history.hour(fact.earliest_at))
    return f"{first}–{hour_text(history.hour(fact.latest_at))}" if fact.is_range else first


def _clock(fact: Fact, words: Words, history: History) -> str:
    """Without the year that stands at the head of the record."""
    year = f" {in_zone(history.starts_at or fact.at, words.zone).year},"
    first, last = (words.clock(moment).replace(year, "") for moment in (fact.earliest_at, fact.latest_at))
    return f"between {first} and {last}" if fact.is_range else first


def _who(fact: Fact) -> str:
    if fact.entered_by and fact.person and fact.entered_by != fact.person:
        return f"{fact.person}, typed by {fact.entered_by}"
    return fact.person or fact.entered_by or ""


def _where(fact: Fact) -> str:
    """Place, instrument, method and quality."""
    kind = KINDS[fact.kind]
    method = dict(kind.methods).get(fact.method or "", fact.method or "")
    quality = "" if fact.quality == "measured" else dict(QUALITIES).get(fact.quality, fact.quality)
    is_moisture = isinstance(fact, Part) and method
    said = (fact.place, fact.instrument, f"moisture {method}" if is_moisture else method, quality)
    return ", ".join(each for each in said if each)


def value_words(fact: Fact, words: Words) -> str:
    """What a fact says, in the reader's units."""
    if isinstance(fact, Answer):
        return f"{rule_word(fact.rule)}: {ANSWER_WORDS.get(fact.answer, fact.answer)}"
    if isinstance(fact, Remark):
        return _remark_words(fact, words)
    if isinstance(fact, Weighing):
        return _weighing_words(fact, words)
    said = fact_words(fact, words.system)
    return _reading_words(fact, said, words) if isinstance(fact, Reading) else said


def _weighing_words(fact: Weighing, words: Words) -> str:
    parts = [unbroken(words.mass(fact.net_kg))]
    if fact.gross_kg is not None and fact.tare_kg:
        parts.append(f"({unbroken(words.mass(fact.gross_kg))} less {unbroken(words.mass(fact.tare_kg))})")
    if fact.of_kg is not None:
        parts.append(f"out of {unbroken(words.mass(fact.of_kg))}")
    if fact.moisture_wb is not None:
        parts.append(f"at {unbroken(words.percent(fact.moisture_wb))}")
    return " ".join(parts) + (f", {fact.vessel}" if fact.vessel else "")


def _reading_words(fact: Reading, said: str, words: Words) -> str:
    parts = [unbroken(said)] if said else []
    if fact.lowest is not None and fact.highest is not None:
        low, high = (words.quantity(KINDS[fact.kind].dimension, each) for each in (fact.lowest, fact.highest))
        parts.append(f"lowest {unbroken(low)}, highest {unbroken(high)}")
    if fact.correction:
        parts.append(
            f"as read {words.temperature((fact.value or 0.0) - fact.correction)}, put right for its instrument"
        )
    return ", ".join(parts)


def _remark_words(fact: Remark, words: Words) -> str:
    said = findings_words(fact, words)
    return ", ".join([*said, *([fact.text] if fact.text else [])])
