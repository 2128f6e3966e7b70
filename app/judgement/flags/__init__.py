"""Flags: what a person should know of a batch now, or should have known then. Computed from the facts, never stored."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType

from app.judgement.flags import (
    ahead,
    bed,
    data_quality,
    growing,
    inspection,
    instruments,
    keeping,
    kiln,
    limits,
    lot,
    steep,
    weighings,
)
from app.judgement.flags.base import SEVERITIES, SEVERITY_WORDS, Case, Check, Flag, Message, Rule, one_for_each_cause
from app.judgement.forecasts.trusted import doubted, known_and_trusted
from app.judgement.history.history import History
from app.judgement.wording import METRIC, Words

__all__ = [
    "RULES",
    "SEVERITIES",
    "SEVERITY_WORDS",
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


def evaluate(history: History, now: datetime, words: Words = METRIC) -> list[Flag]:
    """Every flag of the batch up to now, past episodes too: the gravest first, then by time.

    words: whose units the flags speak in.
    """
    if history.is_set_aside:
        return []
    case = _case(history, now)
    flags = [flag for check in _CHECKS for flag in check(case)]
    flags = one_for_each_cause(flags, LEADS)
    if words.system != "metric":
        flags = [replace(flag, system=words.system) for flag in flags]
    return sorted(flags, key=lambda flag: (-flag.rank, flag.starts_at, flag.rule, flag.episode_id))


def each_for_itself(history: History, now: datetime) -> list[Flag]:
    """Every flag up to now, none folded into another, each fact taken at its word though it may look like a slip."""
    case = _at_its_word(history, now)
    return [flag for check in _CHECKS for flag in check(case)]


def by_rule(rule: str, history: History, now: datetime, without: Set[str] = frozenset()) -> list[Flag]:
    """The flags of one rule, as each_for_itself gives them, as if the facts of these ids had not been said."""
    return [flag for flag in RULES[rule].check(_at_its_word(history, now, without)) if flag.rule == rule]


def rule_word(key: str) -> str:
    """The rule's name on screens; its key where this program has no such rule (any more)."""
    return RULES[key].word if key in RULES else key


def _at_its_word(history: History, now: datetime, without: Set[str] = frozenset()) -> Case:
    facts = tuple(fact for fact in history.facts if fact.at <= now and fact.id not in without)
    return Case(history if len(facts) == len(history.facts) else history.with_facts(facts), history, now)


def _case(history: History, now: datetime) -> Case:
    """What is known now: a fact of the future has no say yet; one that looks like a slip has none until it is said that
    this was a false alarm.
    """
    return Case(
        known_and_trusted(history, now), history, now, tuple(fact for fact in doubted(history) if fact.at <= now)
    )
