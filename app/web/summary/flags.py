"""Flags as the pages show them: with times in words, and an id ready for the answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app import ports
from app.judgement.flags import Flag, rule_word
from app.judgement.flags.answers import JudgedFlag
from app.judgement.wording import Words

ANSWER_WORDS = {"seen": "seen", "acted_on": "acted on", "false_alarm": "false alarm", "leaving": "left for now"}


@dataclass(frozen=True)
class FlagView:
    """A judged flag as its card says it, in the reader's units."""

    judged: JudgedFlag
    title: str
    meaning: str
    remedy: str
    caution: str
    when: str
    answered: str | None
    answer_id: str

    @property
    def is_open(self) -> bool:
        return self.judged.is_open

    @property
    def starts_at(self) -> datetime:
        return self.judged.flag.starts_at

    @property
    def severity(self) -> str:
        return self.judged.flag.severity

    @property
    def says_remedy(self) -> bool:
        """Whether what to do is said wherever the flag is named: somebody may be harmed."""
        return bool(self.caution) and (self.severity == "act" or self.rule == "room_air")

    @property
    def source(self) -> str:
        return self.judged.flag.source

    @property
    def rule(self) -> str:
        return self.judged.flag.rule

    @property
    def episode_id(self) -> str:
        return self.judged.flag.episode_id


@dataclass(frozen=True)
class PastFlags:
    """What one rule found and is over: told by the gravest, with how often it came. views: by time."""

    views: tuple[FlagView, ...]

    @property
    def told(self) -> FlagView:
        return max(self.views, key=lambda view: (view.judged.flag.rank, _hours(view.judged.flag)))

    @property
    def heading(self) -> str:
        if len(self.views) == 1:
            return self.told.title
        return f"{rule_word(self.told.rule)}, {len(self.views)} times; the gravest: {self.told.title}"

    @property
    def when(self) -> str:
        if len(self.views) == 1:
            return self.told.when
        return f"{self.views[0].when.partition(' – ')[0]} – {self.views[-1].when.rpartition(' – ')[2]}"

    @property
    def answers(self) -> list[str]:
        return [view.answered for view in self.views if view.answered]


def _hours(flag: Flag) -> float:
    return (flag.ends_at - flag.starts_at).total_seconds() if flag.ends_at is not None else 0.0


def past_flags(views: list[FlagView]) -> list[PastFlags]:
    """Those that ask for nothing now, a row for each rule and what it warns of: twenty times the same is told once."""
    alike: dict[tuple[str, str], list[FlagView]] = {}
    for view in views:
        if not view.is_open:
            alike.setdefault((view.rule, view.caution), []).append(view)
    return [PastFlags(tuple(sorted(each, key=lambda view: view.starts_at))) for each in alike.values()]


def flag_views(flags: list[JudgedFlag], words: Words) -> list[FlagView]:
    """The flags, open ones first as they come."""
    return [_view(flag, words) for flag in flags]


def _view(judged: JudgedFlag, words: Words) -> FlagView:
    said = judged.flag.in_units(words.system)
    caution = judged.flag.caution.text if judged.flag.caution else ""
    when, answer = _when(judged, words), _answered(judged, words)
    return FlagView(judged, said.title, said.meaning, said.remedy, caution, when, answer, ports.new_id())


def _when(judged: JudgedFlag, words: Words) -> str:
    flag = judged.flag
    begun = words.clock(flag.starts_at)
    return f"since {begun}" if flag.ends_at is None else f"{begun} – {words.clock(flag.ends_at)}"


def _answered(judged: JudgedFlag, words: Words) -> str | None:
    answer = judged.answer
    if answer is None or judged.is_open:
        return None
    by = f" by {answer.person}" if answer.person else ""
    return f"{ANSWER_WORDS.get(answer.answer, answer.answer)}{by}, {words.clock(answer.at)}"
