"""How long can I sleep: if nobody looks from now on, what goes past its limit first, and by when to be back.

Each stage has its own watches; the first to go past is the answer, or what the next steps have to be done sooner:
nobody is let sleep past what they ask for. Where a watch that matters can't be told, the answer says what to record
instead of a time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement import cautions
from app.judgement.ahead.sleep_stages import Found, floor, immersion, kiln, malt, rest, stew
from app.judgement.batch_at import batch_at
from app.judgement.cautions import Caution
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import fired_at
from app.judgement.history.stages import Stage
from app.judgement.history.told_late import told_until
from app.judgement.steps.next_steps import NextStep, next_steps
from app.judgement.watch.waiting import is_heat_off
from app.judgement.watch.watch import Gap, Watch
from app.judgement.wording import METRIC, Words

HORIZON = timedelta(hours=24)
"""What is further off than this lets one sleep the night through, and is for tomorrow's look to say again."""

STAGE_WATCHES: dict[str, Callable[[History, Stage, datetime, Words], Found]] = {
    "immersion": immersion,
    "air_rest": rest,
    "germination": floor,
    "stewing": stew,
    "kilning": kiln,
    "cooling": malt,
}
LOOKS = frozenset(
    {"grain_temperature", "water_temperature", "test_bag", "chit_count", "growth_count", "rub_out", "tray",
     "moisture_test"}
)  # fmt: skip
"""What is done before one goes rather than got up for."""

UNKNOWN_WITHOUT = frozenset({"no_temperature", "one_temperature", "old_temperature", "no_programme", "behind"})


@dataclass(frozen=True)
class Sleep:
    """watches: what may go past, the soonest first. gaps: what could not be said. stay: why it must not be left at all.
    steps: what to do now and after, as all pages say it.

    state: first (something has to be done at once), none (nothing can go past), stay, over, unknown, now, until or
    night (nothing within a day).
    """

    now: datetime
    watches: tuple[Watch, ...] = ()
    gaps: tuple[Gap, ...] = ()
    stay: Caution | None = None
    steps: tuple[NextStep, ...] = ()

    @property
    def first(self) -> Watch | None:
        """What comes first: by its lower bound, for that is when somebody should be back."""
        return self.watches[0] if self.watches else None

    @property
    def over(self) -> tuple[Watch, ...]:
        return tuple(watch for watch in self.watches if watch.is_over(self.now))

    @property
    def task(self) -> NextStep | None:
        """The step that one has to be back for."""
        return min((each for each in self.steps if each.doing not in LOOKS), key=lambda each: each.due_at, default=None)

    @property
    def looks(self) -> tuple[NextStep, ...]:
        """What is looked at before one goes: it falls due meanwhile."""
        until = self.safe_at
        return tuple(each for each in self.steps if each.doing in LOOKS and (until is None or each.due_at < until))

    @property
    def is_by_task(self) -> bool:
        return self.task is not None and (self.first is None or self.task.due_at <= self.first.safe_at)

    @property
    def safe_at(self) -> datetime | None:
        """By when somebody should be back."""
        if self.task is not None and self.is_by_task:
            return self.task.due_at
        return self.first.safe_at if self.first else None

    @property
    def state(self) -> str:
        if self.steps and self.steps[0].order and (self.stay is None or self.steps[0].order == "people"):
            return "first"
        if self.stay is not None:
            return "stay"
        if self.over:
            return "over"
        if any(gap.key in UNKNOWN_WITHOUT for gap in self.gaps):
            return "unknown"
        if self.safe_at is None:
            return "none"
        return "now" if self.safe_at <= self.now else "until" if self.safe_at < self.now + HORIZON else "night"


def sleep(history: History, now: datetime, words: Words = METRIC) -> Sleep:
    """What happens if nobody looks at the batch from now on."""
    batch = batch_at(history, now)
    stage, steps = batch.stage, tuple(next_steps(history, now, words))
    look = STAGE_WATCHES.get(stage.name) if stage is not None else None
    if stage is None or look is None:
        return Sleep(now, steps=tuple(each for each in steps if each.order))
    watched = look(batch.history, stage, now, words)
    if told_until(history, now) is not None:
        return Sleep(now, gaps=(Gap("behind", steps[0].why, steps[0].what, steps[0].kind),))
    ordered = sorted(watched.watches, key=lambda each: (each.safe_at, each.key))
    return Sleep(now, tuple(ordered), tuple(watched.gaps), _stay(batch.history, stage, now), steps)


def _stay(history: History, stage: Stage, now: datetime) -> Caution | None:
    """A heat source is never left running while everybody sleeps; and a roast smoulders on."""
    programme = history.programme_at(now)
    is_roast = programme is not None and programme.is_roast
    if stage.name == "cooling":
        return cautions.ROAST if is_roast and not _is_cool(history, stage, now) else None
    if stage.name == "stewing":
        return cautions.KILN
    if stage.name != "kilning":
        return None
    is_hot = fired_at(history, stage, now) is not None and not is_heat_off(history, now)
    return cautions.ROAST if is_roast else cautions.KILN if is_hot else None


COOL_C = 35.0
"""Below it a roast may go into a sack: from memory, as the caution says."""


def _is_cool(history: History, stage: Stage, now: datetime) -> bool:
    read = [reading for reading in history.readings("grain_temperature") if stage.starts_at <= reading.at <= now]
    return bool(read) and read[-1].value is not None and read[-1].value < COOL_C
