"""What is cleaned when: the plan of each vessel, when it was cleaned last, and what is overdue."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from app.judgement.facts.shapes import Action, Fact, Subject


class Emptied(NamedTuple):
    """The last batch that has ended in a vessel: when it began, and when it ended."""

    began_at: datetime
    ended_at: datetime


@dataclass(frozen=True)
class Cleaning:
    """A vessel, or the house: its plan and last cleaning, as far as said; due_at: None where nothing asks for it."""

    subject: Subject
    plan: Action | None
    last: Action | None
    due_at: datetime | None

    def is_overdue(self, now: datetime) -> bool:
        return self.due_at is not None and self.due_at < now


def cleanings(told: Iterable[Fact], emptied: Mapping[str, Emptied | None]) -> list[Cleaning]:
    """What was cleaned or is planned to be. told: what stands of the house, by time; emptied: by the vessel's name.

    A vessel that no batch names, such as a kiln or the tools, is used by every batch.
    """
    plans: dict[Subject, Action] = {}
    last: dict[Subject, Action] = {}
    for fact in told:
        if isinstance(fact, Action) and fact.kind in ("cleaning_plan", "cleaned"):
            (plans if fact.kind == "cleaning_plan" else last)[fact.subject] = fact
    latest = max(filter(None, emptied.values()), key=lambda each: each.ended_at, default=None)
    subjects = dict.fromkeys((*plans, *last))
    return [
        Cleaning(
            each, plans.get(each), last.get(each), _due_at(plans.get(each), last.get(each), _use(each, emptied, latest))
        )
        for each in subjects
    ]


def _use(subject: Subject, emptied: Mapping[str, Emptied | None], latest: Emptied | None) -> Emptied | None:
    return emptied[subject.id] if subject.type == "vessel" and subject.id in emptied else latest


def _due_at(plan: Action | None, last: Action | None, use: Emptied | None) -> datetime | None:
    if plan is None:
        return None
    if plan.amount is not None:
        try:
            return (last.at if last is not None else plan.at) + timedelta(days=plan.amount)
        except OverflowError:
            # An older export may tell of a cleaning at the end of the calendar.
            return None
    if use is None:
        return None
    # A tub is cleaned once the grain is cast, though the batch ends days later: that counts.
    is_clean = last.at >= use.began_at if last is not None else use.ended_at < plan.at
    return None if is_clean else use.ended_at


def has_plan_by_batch(told: Iterable[Fact]) -> bool:
    """Whether any of these asks for a cleaning after each batch."""
    return any(isinstance(fact, Action) and fact.kind == "cleaning_plan" and fact.amount is None for fact in told)
