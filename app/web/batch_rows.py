"""Batches as rows of a list, from what was remembered of them; judged anew where that is not of their last fact."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup
from sqlalchemy.orm import Session

from app.charts.ribbon import Segment, ribbon_svg
from app.judgement.flags import RULES_VERSION, evaluate
from app.judgement.history import History
from app.judgement.stages import WORDS as STAGE_WORDS
from app.judgement.summary import Summary, summary
from app.judgement.wording import Words
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.history import load_histories
from app.web.glance import Said, batch_name
from app.web.measure_words import measure_said

SHOWN = ("cast_moisture", "acrospire", "final_moisture", "outturn_kg", "malting_loss")
SHORT = {"final_moisture": "Malt", "malting_loss": "Loss, dry", "acrospire": "Acrospire", "cast_moisture": "At cast"}


@dataclass(frozen=True)
class BatchRow:
    """One batch in a list."""

    number: int
    name: str
    species: str
    is_live: bool
    place: str
    when: str
    ribbon: Markup
    figures: list[Said]

    @property
    def facts_line(self) -> str:
        return " · ".join(each for each in (self.species, self.place, self.when) if each)


def batch_rows(session: Session, pairs: Sequence[tuple[Batch, BatchDigest | None]], words: Words) -> list[BatchRow]:
    """The rows of these batches. Live ones, and those whose digest is behind, are judged from their facts."""
    anew = [batch.id for batch, digest in pairs if digest is None or digest.is_live or not _is_fresh(batch, digest)]
    histories = load_histories(session, anew)
    return [row_of(batch, _summary(batch, digest, histories, words), words) for batch, digest in pairs]


def rows_of_histories(histories: Iterable[History], batches: dict[str, Batch], words: Words) -> list[BatchRow]:
    """The rows of batches whose facts are at hand."""
    return [row_of(batches[each.batch.id], summary_now(each, words), words) for each in histories]


def summary_now(history: History, words: Words) -> Summary:
    assert words.now is not None
    return summary(history, words.now, evaluate(history, words.now))


def row_of(batch: Batch, found: Summary, words: Words) -> BatchRow:
    known = [found.measures[key] for key in SHOWN if key in found.measures]
    return BatchRow(
        number=batch.number,
        name=batch_name(batch.number, batch.title),
        species=batch.species,
        is_live=found.is_live,
        place=STAGE_WORDS.get(found.stage, found.stage),
        when=_when(found, words),
        ribbon=_ribbon(batch, found),
        figures=[_short(measure_said(measure, words), measure.key) for measure in known],
    )


def _is_fresh(batch: Batch, digest: BatchDigest) -> bool:
    return digest.seq == batch.last_seq and digest.rules_version == RULES_VERSION


def _summary(batch: Batch, digest: BatchDigest | None, histories: dict[str, History], words: Words) -> Summary:
    if batch.id in histories or digest is None:
        return summary_now(histories[batch.id], words)
    return Summary(digest.is_live, digest.stage, digest.started_at, digest.ended_at, digest.measures)


def _when(found: Summary, words: Words) -> str:
    if found.started_at is None:
        return ""
    begun = words.date(found.started_at)
    return f"{begun} – {words.date(found.ended_at)}" if found.ended_at else f"since {begun}"


def _ribbon(batch: Batch, found: Summary) -> Markup:
    spans = list(found.spans)
    now_h = spans[-1][2] if found.is_live and spans and found.stage != "charged" else None
    # Malt may wait days to be dressed: that would squeeze all the rest of the strip.
    kept = [(name, start, min(end, start + 12.0) if name == "cooling" else end) for name, start, end in spans]
    segments = [Segment(name, start_h, end_h) for name, start_h, end_h in kept]
    return Markup(ribbon_svg(segments, label=batch_name(batch.number, batch.title), now_h=now_h, height=16))


def _short(said: Said, key: str) -> Said:
    return Said(SHORT.get(key, said.name), said.value, "", said.status, said.word)
