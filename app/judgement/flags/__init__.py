"""Flags: what a person should know of a batch now, or should have known then. Computed from the facts, never stored."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType

from app.judgement import cautions
from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.flags import (
    ahead,
    bed,
    data_quality,
    growing,
    inspection,
    instruments,
    keeping,
    kiln,
    kiln_air,
    limits,
    lot,
    steep,
    weighings,
)
from app.judgement.flags.base import SEVERITIES, SEVERITY_WORDS, Check, Flag, Message, Rule, one_for_each_cause
from app.judgement.history.history import History
from app.judgement.history.told_late import told_until
from app.judgement.wording import METRIC, Words

__all__ = [
    "RULES",
    "SEVERITIES",
    "SEVERITY_WORDS",
    "STANDS_WHENEVER_TOLD",
    "Flag",
    "Message",
    "Rule",
    "by_rule",
    "each_for_itself",
    "evaluate",
    "rule_word",
]

_EVERY: Sequence[Rule] = (
    *limits.RULES,
    *steep.RULES,
    *bed.RULES,
    *ahead.RULES,
    *growing.RULES,
    *kiln.RULES,
    *kiln_air.RULES,
    *keeping.RULES,
    *inspection.RULES,
    *lot.RULES,
    *weighings.RULES,
    *instruments.RULES,
    *data_quality.RULES,
)
RULES: dict[str, Rule] = {rule.key: rule for rule in _EVERY}
_CHECKS: tuple[Check, ...] = tuple(dict.fromkeys(rule.check for rule in _EVERY))

LEADS = MappingProxyType(
    {"warm bed": ("warm_and_wet", "bed_limit_ahead"), "mould": ("mould",), "slow growth": ("growth_stalled",)}
)
"""For each cause that several rules may see, the rules that tell it best, the best of them first."""

_OF_FINDS = ("mould", "mould_counted", "off_smell", "not_sure", "ergot", "insects", "sprouted", "slip")
STANDS_WHENEVER_TOLD = frozenset([*_OF_FINDS, *(rule.key for rule in lot.RULES)])
"""What no later entry of the same story takes back."""


def evaluate(history: History, now: datetime, words: Words = METRIC) -> list[Flag]:
    """Every flag of the batch up to now, past episodes too: the gravest first, gas and fire before all, then by time.

    words: whose units the flags speak in.
    """
    if history.is_set_aside:
        return []
    flags = batch_at(history, now).once(_one_for_each_cause)
    if words.system != "metric":
        flags = [replace(flag, system=words.system) for flag in flags]
    return sorted(flags, key=lambda flag: (-flag.rank, *_peril(flag), flag.starts_at, flag.rule, flag.episode_id))


def _peril(flag: Flag) -> tuple[bool, bool, bool]:
    """Among flags alike grave: what harms people at once comes first, of it carbon monoxide, then fire."""
    return flag.rule != "room_air", flag.caution is not cautions.CO, flag.rule != "scorch"


def each_for_itself(history: History, now: datetime) -> list[Flag]:
    """Every flag up to now, none folded into another, each fact taken at its word though it may look like a slip."""
    return list(_at_its_word(history, now).once(_each))


def by_rule(rule: str, history: History, now: datetime, without: Set[str] = frozenset()) -> list[Flag]:
    """The flags of one rule, as each_for_itself gives them, as if the facts of these ids had not been said."""
    return [flag for flag in RULES[rule].check(_at_its_word(history, now, without)) if flag.rule == rule]


def rule_word(key: str) -> str:
    """The rule's name on screens; its key where this program has no such rule (any more)."""
    return RULES[key].word if key in RULES else key


def _one_for_each_cause(batch: BatchAt) -> list[Flag]:
    """While a record is caught up on, as it was when it breaks off: nothing is known of what was done since."""
    until = told_until(batch.history, batch.now) if batch.is_live else None
    if until is None:
        return one_for_each_cause(batch.once(_each), LEADS)
    then = batch_at(batch.whole, until)
    # What was found of the lot since stands, however far the batch's own record has come.
    since = {flag.key for flag in then.once(_each)}
    found = [flag for flag in batch.once(_each) if flag.rule in STANDS_WHENEVER_TOLD and flag.key not in since]
    return [_caught_up(flag) for flag in one_for_each_cause([*then.once(_each), *found], LEADS)]


def _caught_up(flag: Flag) -> Flag:
    """What the next entry may settle is none to act on."""
    return flag if flag.rule in STANDS_WHENEVER_TOLD else replace(flag, severity=SEVERITIES[0])


def _each(batch: BatchAt) -> list[Flag]:
    return [flag for check in _CHECKS for flag in check(batch)]


def _at_its_word(history: History, now: datetime, without: Set[str] = frozenset()) -> BatchAt:
    judged = batch_at(history, now)
    facts = tuple([fact for fact in history.facts if fact.at <= now and fact.id not in without])
    if facts == judged.history.facts:
        return judged if not judged.doubted else replace(judged, doubted=())
    return BatchAt(history if len(facts) == len(history.facts) else history.with_facts(facts), history, now)
