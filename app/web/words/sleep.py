"""How long can I sleep, in the reader's words: one line for a batch's page, all of it on the page of what is ahead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.ahead.sleep import Sleep, sleep
from app.judgement.history.history import History
from app.judgement.watch.watch import Watch
from app.judgement.wording import Words
from app.web.words.figures import unbroken_figures

SHOWN_AT_ONCE = timedelta(hours=48)


@dataclass(frozen=True)
class WatchView:
    """figure: by which it is explained."""

    what: str
    when: str
    why: str
    basis: str
    is_estimate: bool
    figure: str = ""


@dataclass(frozen=True)
class SleepView:
    """status and headline: the answer. detail: what comes first, or why. gaps: (what can't be said, what to record, the
    entry). later: what is further off than two days.
    """

    state: str
    status: str
    headline: str
    detail: str
    first: WatchView | None
    watches: list[WatchView]
    later: list[WatchView]
    gaps: list[tuple[str, str, str]]
    source: str = ""


def sleep_view(history: History, words: Words) -> SleepView:
    """What happens if nobody looks at the batch from now on."""
    assert words.now is not None
    night = sleep(history, words.now, words)
    status, headline, detail = _SAID[night.state](night, words)
    near = [watch for watch in night.watches if watch.safe_at <= words.now + SHOWN_AT_ONCE]
    return SleepView(
        state=night.state,
        status=status,
        headline=headline,
        detail=unbroken_figures(detail),
        first=_view(night.first, words) if night.first is not None else None,
        watches=[_view(each, words, watch_key(each, night.watches)) for each in near],
        later=[_view(each, words, watch_key(each, night.watches)) for each in night.watches if each not in near],
        gaps=[(gap.what, gap.record, gap.kind) for gap in night.gaps],
        source=night.stay.source if night.stay is not None else "",
    )


def _none(night: Sleep, words: Words) -> tuple[str, str, str]:
    return "fine", "As long as you like", "Nothing of this batch goes past a limit at this stage."


def _stay(night: Sleep, words: Words) -> tuple[str, str, str]:
    assert night.stay is not None
    return "act", "Not at all: heat is never left running while the house sleeps", night.stay.text


def _first(night: Sleep, words: Words) -> tuple[str, str, str]:
    step = night.steps[0]
    return "act", f"Not yet. First: {lower(step.what)}", step.why


def _over(night: Sleep, words: Words) -> tuple[str, str, str]:
    return (
        "act",
        "Not yet: put this right first",
        "; ".join(f"most likely, {lower(each.what)}" if each.is_estimate else each.what for each in night.over) + ".",
    )


def _unknown(night: Sleep, words: Words) -> tuple[str, str, str]:
    asked = night.gaps[0].record
    detail = f"{asked[:1].upper()}{asked[1:]}. Then this says until when."
    if night.safe_at is not None and night.safe_at > night.now:
        detail += f" Back by {_clock(night.safe_at, words)} in any case. {_why(night)}"
    return "caution", "That can’t be said yet", detail


def _now(night: Sleep, words: Words) -> tuple[str, str, str]:
    return "caution", "Look at it once more before you go", _why(night)


def _until(night: Sleep, words: Words) -> tuple[str, str, str]:
    assert night.safe_at is not None
    return "notice", f"Back by {_clock(night.safe_at, words)}", _why(night)


def _why(night: Sleep) -> str:
    """What comes first, and what to look at before one goes."""
    first = night.task if night.is_by_task else night.first
    assert first is not None
    asked = {gap.kind for gap in night.gaps}
    looks = [lower(each.what) for each in night.looks if each.kind not in asked]
    before = f" Before you go: {', '.join(looks)}." if looks else ""
    return f"First: {lower(first.what)}.{before}"


def _night(night: Sleep, words: Words) -> tuple[str, str, str]:
    _, headline, detail = _until(night, words)
    return "fine", f"The night through. {headline}", detail


_SAID = {
    "first": _first,
    "none": _none,
    "stay": _stay,
    "over": _over,
    "unknown": _unknown,
    "now": _now,
    "until": _until,
    "night": _night,
}


def watch_key(watch: Watch, watches: Sequence[Watch]) -> str:
    """By which it is explained: of several alike, which of them."""
    alike = [each for each in watches if each.key == watch.key]
    return f"watch.{watch.key}.{alike.index(watch)}" if len(alike) > 1 else f"watch.{watch.key}"


def _view(watch: Watch, words: Words, figure: str = "") -> WatchView:
    assert words.now is not None
    soon = "now" if watch.safe_at <= words.now else _clock(watch.safe_at, words)
    if watch.is_over(words.now):
        since = f"since {_clock(watch.likely_at or watch.safe_at, words)}"
        when = f"most likely {since}" if watch.is_estimate else since
    elif watch.likely_at is None:
        when = f"not before {_clock(watch.safe_at, words)}"
    elif watch.likely_at == watch.safe_at:
        when = f"at {_clock(watch.safe_at, words)}"
    else:
        late = _clock(watch.likely_at, words)
        when = f"from {soon}, most likely {late}" if watch.is_estimate else f"from {soon}"
    why, basis = unbroken_figures(watch.why), unbroken_figures(watch.basis)
    return WatchView(unbroken_figures(watch.what), when, why, basis, watch.is_estimate, figure)


def lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _clock(moment: datetime, words: Words) -> str:
    """Never later than it was reckoned: sooner is safe."""
    return words.around(moment, is_floor=True)
