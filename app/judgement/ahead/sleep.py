"""How long can I sleep: if nobody looks from now on, what goes past its limit first, and by when to be back.

Each stage has its own watches; the first to go past is the answer. Where a watch that matters can't be told, the answer
says what to record instead of a time.
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
UNKNOWN_WITHOUT = frozenset({"no_temperature", "one_temperature", "old_temperature", "no_programme"})


@dataclass(frozen=True)
class Sleep:
    """watches: what may go past, the soonest first. gaps: what could not be said. stay: why it must not be left at all.

    state: none (nothing can go past), stay, over, unknown, now, until or night (nothing within a day).
    """

    now: datetime
    watches: tuple[Watch, ...] = ()
    gaps: tuple[Gap, ...] = ()
    stay: Caution | None = None

    @property
    def first(self) -> Watch | None:
        """What comes first: by its lower bound, for that is when somebody should be back."""
        return self.watches[0] if self.watches else None

    @property
    def over(self) -> tuple[Watch, ...]:
        return tuple(watch for watch in self.watches if watch.is_over(self.now))

    @property
    def safe_at(self) -> datetime | None:
        """By when somebody should be back."""
        return self.first.safe_at if self.first else None

    @property
    def likely_at(self) -> datetime | None:
        """When the first of them has most likely gone past: back by then at the latest."""
        return min((watch.likely_at for watch in self.watches if watch.likely_at is not None), default=None)

    @property
    def state(self) -> str:
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
    stage = batch.stage
    look = STAGE_WATCHES.get(stage.name) if stage is not None else None
    if stage is None or look is None:
        return Sleep(now)
    watched = look(batch.history, stage, now, words)
    ordered = sorted(watched.watches, key=lambda each: (each.safe_at, each.key))
    return Sleep(now, tuple(ordered), tuple(watched.gaps), _stay(batch.history, stage, now))


def _stay(history: History, stage: Stage, now: datetime) -> Caution | None:
    """A heat source is never left running while everybody sleeps; and a roast smoulders on."""
    programme = history.programme_at(now)
    is_roast = programme is not None and programme.purpose == "roasted"
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
