"""The flag that an entry raises by itself: what the answer to it must not be milder than."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from app.judgement.facts.shapes import Fact
from app.judgement.flags import Flag, by_rule, each_for_itself
from app.judgement.forecasts.moisture import determination_of
from app.judgement.forecasts.trusted import doubted, trusted
from app.judgement.history.history import History

LEAST = ("caution", "act")


def raised_by(history: History, fact: Fact, now: datetime, standing: Sequence[Flag] | None = None) -> Flag | None:
    """The gravest open flag, a caution at the least, that this entry would raise alone or has made as grave as it is.

    A flag that time alone has brought since then is not the entry's, and neither is what others in its run were worse
    by. standing: what each_for_itself gives of this history up to now, where somebody has it.
    """
    at = max(now, fact.at)
    flags = each_for_itself(history, at) if standing is None or fact.at > now else standing
    found = [
        own
        for flag in flags
        if fact.id in flag.fact_ids and not flag.has_ended and flag.severity in LEAST
        for own in _own(history, fact, flag)
        if own.severity in LEAST
    ]
    return max(found, key=lambda flag: (flag.rank, flag.caution is not None), default=None)


def _own(history: History, fact: Fact, flag: Flag) -> list[Flag]:
    """The flag at the entry's own time: as it alone raises it, and with the others where it made them graver."""
    # The entry is taken at its word, but not against another that looks like a slip and waits for an answer.
    slips = {each.id for each in doubted(history) if each.id != fact.id and trusted(history).by_id(each.id) is None}
    known = {each.id: each for each in history.facts if each.id not in slips}
    # What was weighed together is one determination, and is judged as one.
    told = determination_of(history, fact)
    together = {fact.id} | ({each.id for each in told.facts} if told is not None else set())
    facts = [known[each] for each in flag.fact_ids if each in known and each not in together]
    others = {each.id for each in facts if each.kind == fact.kind}
    alone = _open(history, fact, flag, without=others | slips)
    if not others:
        return alone
    before = by_rule(flag.rule, history, fact.at, without={fact.id} | slips)
    were = [each.rank for each in before if others & set(each.fact_ids) and not each.has_ended]
    whole = _open(history, fact, flag, without=slips)
    return [*alone, *(each for each in whole if each.rank > max(were, default=-1))]


def _open(history: History, fact: Fact, flag: Flag, without: set[str]) -> list[Flag]:
    flags = by_rule(flag.rule, history, fact.at, without)
    return [each for each in flags if fact.id in each.fact_ids and not each.has_ended]
