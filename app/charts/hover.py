"""The words that stand beside a point: when, how much, who, where, how. Safe to hand to Plotly, which reads markup."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from textwrap import wrap
from zoneinfo import ZoneInfo

from app.judgement.facts.fields import Quantity
from app.judgement.facts.kind_parts import QUALITIES
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Action, Analysis, Fact, Part, Reading, Remark, Result, Tally, Weighing
from app.judgement.forecasts.moisture import MoistureSample
from app.judgement.history.history import History
from app.judgement.wording import in_zone, is_doubled
from app.science.units import DEFAULT_UNITS, UNITS, format_quantity, preferred_mass_unit

_LINE = 38
_LONGEST_NAME = 26
_MOST_NOTE_LINES = 6
_HALF_A_SUMMER = timedelta(days=90)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_QUALITY_WORDS = dict(QUALITIES)


def plain(text: str) -> str:
    """Text that Plotly shows as it stands: its tags (links among them) and entities need these three characters."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def legend_name(text: str) -> str:
    """A name short enough for a legend of two columns on a phone, made safe."""
    return plain(text if len(text) <= _LONGEST_NAME else text[: _LONGEST_NAME - 1].rstrip() + "…")


def lines(text: str) -> list[str]:
    """A person's words, wrapped to the width of a phone, made safe, and cut short where they go on."""
    if len(text) <= _LINE and "\n" not in text:
        return [plain(text)]
    wrapped = [line for part in text.splitlines() for line in wrap(part, _LINE) or [""]]
    if len(wrapped) > _MOST_NOTE_LINES:
        wrapped = [*wrapped[: _MOST_NOTE_LINES - 1], wrapped[_MOST_NOTE_LINES - 1] + " …"]
    return [plain(line) for line in wrapped]


def shown_temperature(value_c: float, units: str) -> float:
    """The number to draw, in the reader's unit."""
    unit = UNITS[DEFAULT_UNITS[units]["temperature"]]
    return round(value_c / unit.scale + unit.offset, 3)


def temperature_symbol(units: str) -> str:
    return UNITS[DEFAULT_UNITS[units]["temperature"]].symbol


def temperature(value_c: float, units: str) -> str:
    return f"{shown_temperature(value_c, units):.1f} {temperature_symbol(units)}"


def number(value_si: float, unit_key: str, half_width_si: float | None = None) -> str:
    return format_quantity(value_si, unit_key, half_width_si)


def mass(value_kg: float, units: str) -> str:
    return format_quantity(value_kg, preferred_mass_unit(value_kg, units))


class Clock:
    """Moments in words: the hour of the malthouse clock and the time in the house's zone."""

    def __init__(self, history: History, zone: ZoneInfo) -> None:
        self._history, self._zone = history, zone
        ends = [fact.at for fact in (*history.facts[:1], *history.facts[-1:])]
        # Asking of each time whether it comes twice that night costs more than the rest of its words together.
        self._may_double = len({in_zone(end, zone).utcoffset() for end in ends}) > 1 or (
            bool(ends) and ends[-1] - ends[0] > _HALF_A_SUMMER
        )

    def time(self, moment: datetime) -> str:
        local = in_zone(moment, self._zone)
        which = f" {local.tzname()}" if self._may_double and is_doubled(moment, self._zone) else ""
        return f"{_WEEKDAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]} {local:%H:%M}{which}"

    def moment(self, moment: datetime) -> str:
        return f"hour {self._history.hour(moment):.1f} · {self.time(moment)}"

    def span(self, start: datetime, end: datetime | None) -> list[str]:
        if end is None:
            return [f"since {self.moment(start)}"]
        hours = f"hour {self._history.hour(start):.1f} to {self._history.hour(end):.1f}"
        return [hours, f"{self.time(start)} to {self.time(end)}"]

    def fact(self, fact: Fact) -> list[str]:
        if not fact.is_range:
            return [self.moment(fact.at)]
        early, late = self._history.hour(fact.earliest_at), self._history.hour(fact.latest_at)
        return [
            f"some time within hour {early:.1f} to {late:.1f}",
            f"{self.time(fact.earliest_at)} to {self.time(fact.latest_at)}",
        ]


def hover(head: str, rest: Iterable[str]) -> str:
    """head and rest are safe already. Any tag but br becomes an inline style, which the content policy forbids."""
    return "<br>".join([head, *(line for line in rest if line)])


def circumstances(fact: Fact) -> list[str]:
    """Place, instrument, method, quality, person and note of a fact, safe, one line for each that there is."""
    where = [each for each in (fact.place, fact.instrument) if each]
    how = [_method_word(fact)] if fact.method else []
    if fact.quality != "measured":
        how.append(_QUALITY_WORDS.get(fact.quality, fact.quality))
    who = [fact.person] if fact.person else []
    if fact.entered_by and fact.entered_by != fact.person:
        who.append(f"typed by {fact.entered_by}")
    found = [" · ".join(words) for words in (where, how, who) if words]
    return [*(line for text in found for line in lines(text)), *(lines(f"“{fact.note}”") if fact.note else [])]


def _method_word(fact: Fact) -> str:
    kind = KINDS.get(fact.kind)
    return dict(kind.methods).get(fact.method or "", fact.method or "") if kind else fact.method or ""


def temperature_hover(reading: Reading, word: str, clock: Clock, units: str) -> str:
    found = "" if reading.value is None else temperature(reading.value, units)
    rest = list(clock.fact(reading))
    extremes = [
        f"{name} {temperature(value, units)}"
        for name, value in (("lowest", reading.lowest), ("highest", reading.highest))
        if value is not None
    ]
    if extremes:
        rest.append(f"{', '.join(extremes)} since the last look")
    if reading.correction:
        rest.append("its instrument’s correction added")
    return hover(f"{plain(word)} {found}".strip(), [*rest, *circumstances(reading)])


def sample_hover(sample: MoistureSample, word: str, clock: Clock) -> str:
    where = [] if sample.place in (None, sample.fact.place) else lines(str(sample.place))
    value = number(sample.moisture_wb, "percent", sample.half_width)
    return hover(value, [word, *clock.fact(sample.fact), *where, *circumstances(sample.fact)])


def curve_hover(moisture_wb: float, half_width: float, said: str, moment: datetime, clock: Clock) -> str:
    return hover(f"about {number(moisture_wb, 'percent', half_width)}", [said, clock.moment(moment)])


def fact_hover(fact: Fact, clock: Clock, units: str) -> str:
    kind = KINDS.get(fact.kind)
    head = plain(kind.word if kind else fact.kind)
    said = lines(fact_words(fact, units))
    until = [f"until {clock.time(fact.until_at)}"] if isinstance(fact, Action) and fact.until_at else []
    return hover(head, [*said, *clock.fact(fact), *until, *circumstances(fact)])


def fact_words(fact: Fact, units: str) -> str:
    """What a fact says beside its kind, as plain text; may be nothing."""
    if isinstance(fact, Reading):
        return "" if fact.value is None else number(fact.value, DEFAULT_UNITS[units][KINDS[fact.kind].dimension])
    if isinstance(fact, Weighing):
        return " ".join([*([fact.vessel] if fact.vessel else []), mass(fact.net_kg, units)])
    if isinstance(fact, Tally):
        return _tally_words(fact)
    if isinstance(fact, Part):
        return f"{mass(fact.as_is_kg, units)} at {number(fact.moisture_wb, 'percent')}"
    if isinstance(fact, Remark):
        seen = [f"{aspect.replace('_', ' ')} {finding.replace('_', ' ')}" for aspect, finding in fact.findings.items()]
        return ", ".join([*seen, *([fact.text] if fact.text else [])])
    if isinstance(fact, Result | Analysis):
        return _figures(fact, units)
    return _action_words(fact, units)


def _figures(fact: Result | Analysis, units: str) -> str:
    """Every figure of a test: its value, then what was measured beside it."""
    specs = [spec for spec in KINDS[fact.kind].fields.values() if isinstance(spec, Quantity)]
    measured = fact.found if isinstance(fact, Analysis) else {"value": fact.value, **fact.beside}
    said = []
    for spec in specs:
        value = measured.get(spec.target.rpartition(".")[2])
        if value is not None:
            shown = (
                mass(value, units) if spec.dimension == "mass" else number(value, DEFAULT_UNITS[units][spec.dimension])
            )
            said.append(shown if len(specs) == 1 else f"{spec.word.lower()} {shown}")
    return ", ".join(said)


def _action_words(fact: Fact, units: str) -> str:
    if not isinstance(fact, Action):
        return ""
    spec = KINDS[fact.kind].fields.get("amount")
    is_told = fact.amount is not None and isinstance(spec, Quantity) and not spec.is_difference
    amount = number(fact.amount or 0.0, DEFAULT_UNITS[units][KINDS[fact.kind].dimension]) if is_told else ""
    return " ".join(words for words in (fact.what, amount) if words)


def _tally_words(tally: Tally) -> str:
    if tally.lengths:
        mean = sum(tally.lengths) / len(tally.lengths)
        return f"{len(tally.lengths)} kernels, mean {mean:.2f} of the kernel"
    # The record holds them by the alphabet; one reads them as they were counted.
    words = {name: spec.word for name, spec in KINDS[tally.kind].fields.items() if spec.target.startswith("counts.")}
    names = [*words, *(name for name in tally.counts if name not in words)]
    counted = ", ".join(f"{name.replace('_', ' ')} {tally.counts[name]}" for name in names if tally.counts.get(name))
    return f"{counted or 'none'} of {tally.looked_at}"
