"""Batches as rows of a list, from what was remembered of them; judged anew where that is not of their last fact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup
from sqlalchemy.orm import Session

from app.charts.ribbon import Segment, ribbon_svg
from app.judgement import rules_version
from app.judgement.flags import evaluate
from app.judgement.history.guard import judged_alone
from app.judgement.history.history import History
from app.judgement.history.stages import ENDED
from app.judgement.history.stages import WORDS as STAGE_WORDS
from app.judgement.measures.summary import Summary, summary
from app.judgement.wording import Words
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.history import load_histories
from app.web.summary.glance import batch_name
from app.web.words.figures import Figure
from app.web.words.measures import measure_said

SHOWN = ("cast_moisture", "acrospire", "final_moisture", "outturn_kg", "malting_loss")
SHORT = {
    "final_moisture": "Malt",
    "malting_loss": "Loss, dry",
    "acrospire": "Acrospire",
    "cast_moisture": "Moisture at cast",
}
MOST_COOLING_H = 12.0


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
    figures: list[Figure]

    @property
    def facts_line(self) -> str:
        return " · ".join(each for each in (self.species, self.place, self.when) if each)


def batch_rows(session: Session, pairs: Sequence[tuple[Batch, BatchDigest | None]], words: Words) -> list[BatchRow]:
    """The rows of these batches. Live ones, and those whose digest is behind, are judged from their facts."""
    anew = [batch.id for batch, digest in pairs if digest is None or digest.is_live or not is_fresh(batch, digest)]
    histories = load_histories(session, anew)
    return rows_of([(batch, _summary(batch, digest, histories, words)) for batch, digest in pairs], words)


def rows_of(summed_up: Sequence[tuple[Batch, Summary]], words: Words) -> list[BatchRow]:
    """Rows whose ribbons share one scale of hours."""
    ends = [end_h for _, each in summed_up for _, _, end_h in drawn_spans(each)]
    return [_row(batch, each, max(ends, default=1.0), words) for batch, each in summed_up]


def summary_now(history: History, words: Words) -> Summary:
    assert words.now is not None
    return summary(history, words.now, evaluate(history, words.now))


def _row(batch: Batch, summed_up: Summary, hours_total: float, words: Words) -> BatchRow:
    measures = [summed_up.measures[key] for key in SHOWN if key in summed_up.measures]
    return BatchRow(
        number=batch.number,
        name=batch_name(batch.number, batch.title),
        species=batch.species,
        is_live=summed_up.is_live,
        place=STAGE_WORDS.get(summed_up.stage, summed_up.stage),
        when=_when(summed_up, words),
        ribbon=_ribbon(batch, summed_up, hours_total),
        figures=[_short(measure_said(measure, words), measure.key) for measure in measures],
    )


def is_fresh(batch: Batch, digest: BatchDigest) -> bool:
    return digest.seq == batch.last_seq and digest.rules_version == rules_version()


def _summary(batch: Batch, digest: BatchDigest | None, histories: dict[str, History], words: Words) -> Summary:
    if batch.id in histories or digest is None:
        return judged_alone(histories[batch.id], lambda history: summary_now(history, words))
    return remembered(digest)


def remembered(digest: BatchDigest) -> Summary:
    """The batch in short, as its digest has it."""
    return Summary(digest.is_live, digest.stage, digest.started_at, digest.ended_at, digest.measures)


def _when(summed_up: Summary, words: Words) -> str:
    if summed_up.started_at is None:
        return ""
    begun = words.date(summed_up.started_at)
    return f"{begun} – {words.date(summed_up.ended_at)}" if summed_up.ended_at else f"since {begun}"


def drawn_spans(summed_up: Summary) -> list[tuple[str, float, float]]:
    """The stages as they are drawn: malt may wait days to be dressed, which would squeeze all the rest of the strip."""
    return [
        (name, start_h, min(end_h, start_h + MOST_COOLING_H) if name == "cooling" else end_h)
        for name, start_h, end_h in summed_up.spans
        if name not in ENDED
    ]


def _ribbon(batch: Batch, summed_up: Summary, hours_total: float) -> Markup:
    spans = drawn_spans(summed_up)
    now_h = spans[-1][2] if summed_up.is_live and spans and summed_up.stage != "charged" else None
    segments = [Segment(name, start_h, end_h) for name, start_h, end_h in spans]
    if summed_up.stage == "abandoned" and spans:
        segments.append(Segment("abandoned", spans[-1][2], spans[-1][2]))
    name = batch_name(batch.number, batch.title)
    return Markup(ribbon_svg(segments, label=name, now_h=now_h, hours_total=hours_total, height=16))


def _short(said: Figure, key: str) -> Figure:
    return Figure(SHORT.get(key, said.name), said.value, "", said.status, said.word)
