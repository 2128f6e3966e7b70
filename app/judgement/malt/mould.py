"""Mould, a musty smell, ergot over its limit: what makes grain no food until somebody has said that it was none of it.

A find is lifted by its flag's answer "false alarm", or by striking its facts out; a look that sees nothing, "seen" or
"acted on" lifts none: what was mouldy isn't wholesome again for having been seen to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from app.judgement.facts.shapes import Answer, Fact, Remark, Tally
from app.judgement.forecasts.moisture import charged
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages, stage_at

Shape = TypeVar("Shape", bound=Fact)
SPREADING_SHARE = 0.05
FEWEST_SPREADING = 2
"""Mouldy kernels, of those looked at, from which on it is mould and no longer a question. Common practice: of what is
malted at least 95 % live, and mould begins on the dead; more than those, and it spreads to the living. One kernel alone
shows no spreading."""
ERGOT_LIMIT = 0.0002
"""0.2 g/kg of raw grain, European Union (rye since July 2025) [P]."""
STEEPING = ("charged", "immersion", "air_rest")
UNWHOLESOME_SMELLS = ("musty", "off")
SOUR = "sour smell"
"""Of bacteria: nothing to eat either until its cause is found, but neither mould nor a toxin."""


@dataclass(frozen=True)
class Find:
    """One episode of something found, opened by the first of its facts. rule: the flag that tells of it.

    word: what was found. ended_at: when a later look ended it, where one can.
    """

    rule: str
    severity: str
    facts: tuple[Fact, ...]
    word: str
    ended_at: datetime | None = None


def is_mouldy(history: History, now: datetime) -> bool:
    """Whether mould, or what smells of it, stands against this grain now: it is not to be turned, sniffed or shaken."""
    return any(find.rule != "ergot" for find in finds_against(history, now))


def finds_against(history: History, now: datetime) -> tuple[Find, ...]:
    """What stands against this grain as food now: all to be acted on, none ended, none a false alarm."""
    seen = mould_seen(history, now)
    cleared = [answer for find in seen if (answer := _false_alarm(history, find, now)) is not None]
    smells = [find for find in bad_smells(history, now) if find.word != SOUR]
    others = [*mould_counted(history, now), *smells, *_ergot_over_limit(history, now)]
    standing = [find for find in (*seen, *others) if find.severity == "act" and find.ended_at is None]
    return tuple(
        find
        for find in standing
        if _false_alarm(history, find, now) is None
        # The flag of mould speaks for a musty smell beside it, and so does the answer to it.
        and not (find.rule != "ergot" and any(find.facts[-1].at <= answer.at for answer in cleared))
    )


def looks(history: History, now: datetime) -> list[Remark]:
    """Inspections of the lots before they were charged, and of the batch, in order of time."""
    lots = [fact for lot in history.lots.values() for fact in lot.facts]
    of_lots = [fact for fact in lots if isinstance(fact, Remark) and fact.kind == "inspection"]
    inspections = [look for look in (*of_lots, *history.of_shape(Remark, "inspection")) if look.at <= now]
    return sorted(inspections, key=lambda look: (look.at, look.id))


def mould_seen(history: History, now: datetime) -> list[Find]:
    """Mould that was seen. It stays, whatever a later look says."""
    finds = [look for look in looks(history, now) if look.findings.get("mould") == "yes"]
    return [Find("mould", "act", tuple(run), "mould seen") for run in _episodes(history, "mould", finds)]


def mould_counted(history: History, now: datetime) -> list[Find]:
    """Mouldy kernels in growth counts. A single one is something to look at, and over once a later look is clean."""
    counts = [fact for fact in history.of_shape(Tally, "growth_count") if fact.at <= now]
    clean = [count.at for count in counts if not count.counts.get("mouldy")]
    clean += [look.at for look in looks(history, now) if look.findings.get("mould") == "no"]
    mouldy = [count for count in counts if count.counts.get("mouldy")]
    finds = []
    for run in _episodes(history, "mould_counted", mouldy, until=clean):
        is_spreading = any(is_spreading_in(count) for count in run)
        after = [moment for moment in clean if moment > run[-1].at]
        ended_at = None if is_spreading else min(after, default=None)
        severity = "act" if is_spreading else "caution"
        finds.append(Find("mould_counted", severity, tuple(run), "mouldy kernels counted", ended_at))
    return finds


def is_spreading_in(count: Tally) -> bool:
    """Whether more kernels of a count are mouldy than single dead ones would explain."""
    mouldy = count.counts.get("mouldy", 0)
    return mouldy >= FEWEST_SPREADING and mouldy >= SPREADING_SHARE * count.looked_at - 1e-9


def bad_smells(history: History, now: datetime) -> list[Find]:
    """Musty or off, and sour once out of the steep. A look that smells clean ends them, unless it was musty."""
    finds, run = [], list[Remark]()
    for look in [*looks(history, now), None]:
        if look is not None and _smells_bad(history, look):
            run.append(look)
        elif run and (look is None or (look.findings.get("smell") == "clean" and not _was(run, "musty"))):
            finds.append(Find("off_smell", "act", tuple(run), _smell(run), look.at if look is not None else None))
            run = []
    return finds


def _smells_bad(history: History, look: Remark) -> bool:
    smell = look.findings.get("smell")
    if smell != "sour":
        return smell in UNWHOLESOME_SMELLS
    stage = stage_at(all_stages(history), look.at)
    return stage is not None and stage.name not in STEEPING


def _was(run: Iterable[Remark], smell: str) -> bool:
    return any(look.findings.get("smell") == smell for look in run)


def _smell(run: Sequence[Remark]) -> str:
    """The gravest of the smells of a run."""
    worst = next((smell for smell in UNWHOLESOME_SMELLS if _was(run, smell)), None)
    return f"{worst} smell" if worst else SOUR


def ergot_share(history: History, now: datetime) -> float | None:
    """Ergot weighed out of the batch, kg in a kg of its charge; None where none was weighed, or nothing charged."""
    whole = charged(history)
    ergot_kg = sum(look.ergot_kg or 0.0 for look in looks(history, now) if look.subject.type == "batch")
    return ergot_kg / whole.as_is_kg if whole and ergot_kg else None


def ergot_looks(history: History, now: datetime) -> list[Remark]:
    """The looks that found ergot."""
    return [look for look in looks(history, now) if (look.ergot_kg or 0.0) > 0.0 or look.findings.get("ergot") == "yes"]


def _ergot_over_limit(history: History, now: datetime) -> list[Find]:
    share = ergot_share(history, now)
    if share is None or share <= ERGOT_LIMIT:
        return []
    return [Find("ergot", "act", tuple(ergot_looks(history, now)), "ergot over its limit")]


def _episodes(
    history: History, rule: str, facts: Sequence[Shape], until: Sequence[datetime] = ()
) -> Iterator[list[Shape]]:
    """What was found, parted where it was answered for or ended: what is found after that is found anew."""
    run: list[Shape] = []
    for fact in facts:
        if run and (
            any(run[-1].at < moment <= fact.at for moment in until)
            or any(run[-1].at <= answer.at < fact.at for answer in _answers(history, rule, run[0]))
        ):
            yield run
            run = []
        run.append(fact)
    if run:
        yield run


def _answers(history: History, rule: str, opened_by: Fact) -> list[Answer]:
    root = history.root_id(opened_by.id)
    return [answer for answer in history.answers if answer.rule == rule and history.root_id(answer.episode_id) == root]


def _false_alarm(history: History, find: Find, now: datetime) -> Answer | None:
    """The last answer to a find, if it says that this was none, and the find was no less grave then."""
    given = [answer for answer in _answers(history, find.rule, find.facts[0]) if answer.at <= now]
    if not given or given[-1].answer != "false_alarm" or given[-1].severity != find.severity:
        return None
    return given[-1]
