"""The backtest's cut: a forecast made from a record is the same, whatever is told, or put right, after its moment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache, partial
from typing import Any

import pytest

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed
from app.judgement.forecasts.forecast import fit
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from tests.benchmarks import made_up
from tests.benchmarks.backtest import Series, growth_series, kiln_series, steep_as_it_is, steep_by_plan
from tests.benchmarks.known_by import known_by
from tests.examples import EXAMPLES

Record = dict[str, Any]
PROBE = "probe 1"
HOUSE = {"type": "house", "id": "house"}
SUBJECTS = {"batch": made_up.BATCH, "lot": made_up.LOT, "instrument": {"type": "instrument", "id": PROBE}}


@dataclass(frozen=True)
class Case:
    """A story, what is forecast of it, and a moment in its middle. hides: what the backtest once hid of what came."""

    records: tuple[Record, ...]
    series: Series
    moment: datetime
    hides: tuple[str, ...]

    def foreseen(self, history: History) -> Any:
        """The forecast of everything that was determined later, as of the moment."""
        return self.series.asks(history, self.moment, [each.at for each in self.series.points(self.series.whole)])

    @property
    def so_far(self) -> list[Record]:
        """What was told by the moment: the stories are told in the order of their hours."""
        return [each for each in self.records if "at" not in each or each["at"] <= self.moment.isoformat()]

    def facts_so_far(self) -> list[Record]:
        return [each for each in self.so_far if "at" in each]


@cache
def cases() -> dict[str, Case]:
    steep, floor, kiln = (_read_with_a_probe(make(101)) for make in (made_up.steep, made_up.floor, made_up.kiln))
    weighed = ("test_bag", "charge_weighing", "moisture_test")
    return {
        "steep by the plan": _case(steep, steep_by_plan, weighed),
        "steep as it is": _case(steep, steep_as_it_is, weighed),
        "floor": _case(floor, growth_series, ("growth_count",)),
        "kiln": _case(kiln, lambda *told: kiln_series(*told)[0], ("tray", "moisture_test", "outturn")),
    }


def _case(records: list[Record], make: Callable[..., Series], hides: tuple[str, ...]) -> Case:
    series = make("made up", history_from_records(records), partial(known_by, records))
    return Case(tuple(records), series, series.moments()[2], hides)


def _read_with_a_probe(records: Iterable[Record]) -> list[Record]:
    """All its thermometers are one, so that a calibration has a say in all of it; and in order of time."""
    told = [
        each | {"instrument": PROBE} if str(each.get("kind")).endswith("_temperature") else each for each in records
    ]
    return sorted(told, key=lambda each: each.get("at", ""))


STORIES = pytest.mark.parametrize("name", ["steep by the plan", "steep as it is", "floor", "kiln"])


def told_later(case: Case) -> list[Record]:
    """A poisonous one of every kind after the moment; before it, but written or arrived after it; and over it."""
    found = []
    before, after, late = (case.moment + timedelta(minutes=each) for each in (-65, 20, 40))
    for kind in KINDS:
        if kind == "withdrawal":
            continue
        found += [
            entry(kind, "after", after, after),
            entry(kind, "written late", before, before, written_at=late),
            entry(kind, "arrived late", before, before, written_at=before, received_at=late),
            entry(kind, "a span", before, after),
        ]
    values = {"what": "the power was cut", "until_at": after.isoformat()}
    return [*found, entry("interruption", "until later", before, before) | {"values": values}]


OWN_VALUES: dict[str, Record] = {
    "test_bag": {"vessel": "bag", "net_kg": 0.9},
    "tray": {"vessel": "tray 1", "gross_kg": 2.7, "tare_kg": 1.2, "net_kg": 1.5},
    "charge_weighing": {"net_kg": 75.0},
    "calibrated": {"amount": 9.0},
    "programme_change": {"programme": load_builtin()["rye"].digest},
}
"""Of the vessels of the stories, and far enough off to be missed."""


def entry(kind: str, what: str, earliest: datetime, latest: datetime, **times: datetime) -> Record:
    """As a logger would send it: what was typed could be doubted, and have no say for that."""
    return {
        "id": f"{kind} {what}",
        "kind": kind,
        "subject": next((SUBJECTS[each] for each in SUBJECTS if each in KINDS[kind].subjects), HOUSE),
        "values": OWN_VALUES.get(kind) or values_from_typed(KINDS[kind], EXAMPLES[kind]),
        "place": "middle",
        "earliest_at": earliest.isoformat(),
        "latest_at": latest.isoformat(),
        **{name: at.isoformat() for name, at in times.items()},
    }


def put_right_later(case: Case) -> list[Record]:
    """What was told by the moment, each entry corrected or struck out an hour after it."""
    late = (case.moment + timedelta(hours=1)).isoformat()
    found = []
    for place, each in enumerate(case.facts_so_far()):
        again = {"id": f"again {place}", "supersedes_id": each["id"], "written_at": late}
        if place % 2:
            struck = {"kind": "withdrawal", "subject": each["subject"], "at": each["at"], "values": {"reason": "x"}}
            found.append(struck | again)
        else:
            found.append(each | again | {"values": changed(each["values"])})
    return found


def changed(values: Record) -> Record:
    """Other figures than those that were told."""
    return {key: value * 1.03 if isinstance(value, float) else value for key, value in values.items()}


@STORIES
def test_nothing_that_is_told_later_changes_what_was_foreseen(name: str) -> None:
    case = cases()[name]
    poisoned = [*case.records, *told_later(case), *put_right_later(case)]
    known = known_by(poisoned, case.moment)
    so_far = history_from_records(case.so_far)
    assert known.facts == so_far.facts
    assert known.chains == so_far.chains
    assert known.instruments == so_far.instruments
    assert known.lots == so_far.lots
    assert case.foreseen(known) == case.foreseen(so_far)
    assert fit(known).programme == fit(so_far).programme
    assert fit(known).dry_kg == fit(so_far).dry_kg


@STORIES
def test_the_backtest_forecasts_from_nothing_else(name: str) -> None:
    case = cases()[name]
    assert case.series.by(case.moment) is not None
    assert case.foreseen(case.series.by(case.moment)) == case.foreseen(history_from_records(case.so_far))
    assert all(each.at > case.moment for each in case.series.hidden(case.moment))


# Left in, each of these has a say in the forecast: a cut that lets it through is found out.
POISON = [
    ("steep as it is", "test_bag after"),
    ("steep as it is", "water_temperature after"),
    ("steep as it is", "drained after"),
    ("steep as it is", "charge_weighing written late"),
    ("steep as it is", "moisture_test arrived late"),
    ("steep as it is", "calibrated written late"),
    ("steep by the plan", "programme_change after"),
    ("steep by the plan", "cast after"),
    ("floor", "growth_count after"),
    ("floor", "grain_temperature after"),
    ("floor", "heat_on after"),
    ("floor", "calibrated written late"),
    ("kiln", "tray after"),
    ("kiln", "air_on_temperature after"),
    ("kiln", "humidity written late"),
    ("kiln", "moisture_test a span"),
    ("kiln", "calibrated written late"),
]


@pytest.mark.parametrize(("name", "what"), POISON)
def test_what_is_hidden_would_have_had_a_say(name: str, what: str) -> None:
    case = cases()[name]
    poison = next(each for each in told_later(case) if each["id"] == what)
    left_in = history_from_records([*case.so_far, poison])
    assert case.foreseen(left_in) != case.foreseen(history_from_records(case.so_far))


@STORIES
def test_a_correction_that_is_hidden_would_have_had_a_say(name: str) -> None:
    case = cases()[name]
    left_in = history_from_records([*case.so_far, *put_right_later(case)[::2]])
    assert case.foreseen(left_in) != case.foreseen(history_from_records(case.so_far))


@STORIES
def test_to_hide_only_what_is_forecast_shows_the_future(name: str) -> None:
    case = cases()[name]
    as_it_was_done = only_determinations_hidden(case.series.whole, case.moment, case.hides)
    assert case.foreseen(as_it_was_done) != case.foreseen(known_by(case.records, case.moment))


def only_determinations_hidden(whole: History, moment: datetime, kinds: Sequence[str]) -> History:
    """The old way of the backtest."""
    return replace(whole, facts=tuple(each for each in whole.facts if each.kind not in kinds or each.at <= moment))
