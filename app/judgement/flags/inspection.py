"""What was seen and smelt: fire, mould, off smell, ergot, slime, insects, field sprouts; and what nobody is sure of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import NamedTuple

from app.judgement import cautions
from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Remark, Tally, Weighing
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.history.stages import Stage
from app.judgement.malt.mould import (
    ERGOT_LIMIT,
    SPREADING_SHARE,
    Find,
    bad_smells,
    ergot_looks,
    ergot_share,
    looks,
    mould_counted,
    mould_seen,
)

LOOK_AGAIN = timedelta(hours=6)

ROOT_HAIRS = (
    "Root hairs look like mould: white, only at the rootlets' tips, gone when sprayed, no smell. Grey, green, black or "
    "pink, on the husk or on broken corns, or musty: that is mould."
)
BAG_IT = "Don't turn, sniff or shake it. Keep it apart and wet; bag it; don't kiln it for food."
KNIT = frozenset({"strands", "felted"})


def _of_lot(look: Fact) -> str:
    return " in the lot" if look.subject.type == "lot" else ""


def mould(batch: BatchAt) -> Iterator[Flag]:
    """Mould stays, whatever a later look says: it takes an answer to close the flag, or the fact struck out."""
    for find in mould_seen(batch.history, batch.now):
        first, last = find.facts[0], find.facts[-1]
        where = f" ({first.place})" if first.place else ""
        title = f"Mould seen{_of_lot(first)}{where}, {batch.span_words(first.at, last.at)}"
        yield raised(
            batch, "mould", find.severity, find.facts,
            Message(title, f"Mould can poison whoever eats it and whoever breathes its dust. {ROOT_HAIRS}", BAG_IT),
            "common practice", ends_at=_abandoned_at(batch), caution=cautions.MOULD, place=first.place, cause="mould",
        )  # fmt: skip


def counted(batch: BatchAt) -> Iterator[Flag]:
    """Mouldy kernels in a growth count: one is to be looked into, more than dead ones would explain are mould."""
    for find in mould_counted(batch.history, batch.now):
        tallies = [fact for fact in find.facts if isinstance(fact, Tally)]
        worst = max(tallies, key=lambda tally: tally.counts["mouldy"] / tally.looked_at)
        mouldy, n = worst.counts["mouldy"], worst.looked_at
        title = f"Mouldy kernels counted: {wording.share(mouldy, n)}, {batch.span_words(tallies[0].at, tallies[-1].at)}"
        if find.severity == "act":
            share = wording.whole_percent(SPREADING_SHARE)
            meaning = f"From {share} on it is no longer a dead kernel here and there. {ROOT_HAIRS}"
            remedy = BAG_IT
        else:
            meaning = "Mould begins on dead and broken kernels, and spreads from them."
            remedy = "Look at it from arm's length, all over, and record the inspection. " + ROOT_HAIRS
        yield raised(
            batch, "mould_counted", find.severity, tallies, Message(title, meaning, remedy), "common practice",
            ends_at=find.ended_at or _abandoned_at(batch) or _if_slight(batch, find), caution=cautions.MOULD,
            place=worst.place, cause="mould", worst=mouldy / n, unit="fraction",
        )  # fmt: skip


def _if_slight(batch: BatchAt, find: Find) -> datetime | None:
    return None if find.severity == "act" else batch.ended_at


def _abandoned_at(batch: BatchAt) -> datetime | None:
    return next((stage.starts_at for stage in batch.stages if stage.name == "abandoned"), None)


def smells_on_kiln(batch: BatchAt, look: Fact) -> bool:
    """Whether it was on the kiln at that look, and still is: what smells there may burn."""
    return all(at is not None and at.name in ("kilning", "cooling") for at in (batch.stage_at(look.at), batch.stage))


def off_smell(batch: BatchAt) -> Iterator[Flag]:
    """Musty or otherwise off; sour too, once out of the steep. A later clean look ends it, unless it was musty."""
    for find in bad_smells(batch.history, batch.now):
        run = [look for look in find.facts if isinstance(look, Remark)]
        smells = list(dict.fromkeys(look.findings["smell"] for look in run))
        title = f"It smells {' and '.join(smells)}{_of_lot(run[0])}, {batch.span_words(run[0].at, run[-1].at)}"
        is_sour = smells == ["sour"]
        meaning = (
            "Lactic and acetic bacteria are growing: it has stood too warm and too wet."
            if is_sour
            else "A musty or foul smell is mould or rot until shown otherwise."
        )
        if is_sour:
            remedy = "Spread it thin, cool it, air it."
        elif smells_on_kiln(batch, run[-1]):
            remedy = "Heat off, and look for fire first."
        else:
            remedy = "Leave it lying; air the room, not the bed."
        remedy += " Look for mould from arm's length; don't sniff again."
        yield raised(
            batch, "off_smell", find.severity, run, Message(title, meaning, remedy), "common practice",
            ends_at=find.ended_at or _abandoned_at(batch),
            caution=None if is_sour else cautions.MOULD, place=run[0].place, cause="mould" if "musty" in smells else "",
        )  # fmt: skip


def not_sure(batch: BatchAt) -> Iterator[Flag]:
    """Nobody was sure: keep it apart, look again in six hours. Ends with a look that is sure."""
    run: list[Remark] = []
    for look in [*looks(batch.history, batch.now), None]:
        answers = (look.findings.get("mould"), look.findings.get("smell")) if look else ()
        if look is not None and "not_sure" in answers:
            run.append(look)
        elif run:
            yield _not_sure_flag(batch, run, look)
            run = []


def _not_sure_flag(batch: BatchAt, run: Sequence[Remark], ended_by: Remark | None) -> Flag:
    due_at = run[-1].at + LOOK_AGAIN
    is_due = ended_by is None and batch.now >= due_at
    aspect = "mould" if any(look.findings.get("mould") == "not_sure" for look in run) else "the smell"
    title = f"Not sure about {aspect}{_of_lot(run[0])}, {batch.span_words(run[0].at, run[-1].at)}"
    remedy = "Look again now" if is_due else f"Look again at {batch.hour_words(due_at)}, six hours after"
    remedy += f", and keep it apart until then. {ROOT_HAIRS}"
    return raised(
        batch, "not_sure", "caution", run,
        Message(title, "It may be mould: mould has grown in six hours, root hairs have not.", remedy),
        "common practice",
        ends_at=ended_by.at if ended_by else batch.ended_at, caution=cautions.MOULD, place=run[0].place, cause="mould",
    )  # fmt: skip


def ergot(batch: BatchAt) -> Iterator[Flag]:
    """Any ergot is to be picked out; above the limit for raw grain the charge is rejected."""
    found = ergot_looks(batch.history, batch.now)
    if not found:
        return
    ergot_kg = sum(look.ergot_kg or 0.0 for look in found if look.subject.type == "batch")
    share = ergot_share(batch.history, batch.now)
    is_rejected = share is not None and share > ERGOT_LIMIT
    figure = f"{1000.0 * share:.2f} g/kg of the charge" if share is not None else "not weighed against the charge"
    title = f"Ergot: {wording.mass(ergot_kg)}, {figure}" if ergot_kg else "Ergot found: weigh it"
    remedy = (
        "Reject the charge: keep it from food and feed."
        if is_rejected
        else "Pick it all out with gloves, and weigh it."
    )
    yield raised(
        batch, "ergot", "act" if is_rejected else "caution", found,
        Message(title, "Its alkaloids are poisonous, and neither steeping nor kilning surely destroys them.", remedy),
        cautions.ERGOT.source, ends_at=_abandoned_at(batch), caution=cautions.ERGOT, worst=share, unit="fraction",
    )  # fmt: skip


def knit_bag(batch: BatchAt) -> Iterator[Flag]:
    """A test bag weighed after rootlets knit: it no longer drains and grows like the charge."""
    looks = [look for look in batch.history.of_shape(Remark, "inspection") if look.findings.get("matting") in KNIT]
    if not looks:
        return
    late = [bag for bag in batch.history.of_shape(Weighing, "test_bag") if bag.at > looks[0].at]
    if not late:
        return
    facts: list[Fact] = [late[0], *late[1:], looks[0]]
    title = f"Test bag weighed after the rootlets had knit, {batch.span_words(late[0].at, late[-1].at)}"
    meaning = "Rootlets hold water between them and grow through the bag: its weight tells too much moisture."
    yield raised(
        batch, "knit_bag", "notice",
        facts, Message(title, meaning, "Weigh the whole charge, or take an oven moisture."),
        "common practice", ends_at=_kilned_at(batch) or batch.ended_at, place=late[0].vessel,
    )  # fmt: skip


def _kilned_at(batch: BatchAt) -> datetime | None:
    kilned: list[Stage] = batch.stages_named("kilning")
    return kilned[0].starts_at if kilned else None


class Sign(NamedTuple):
    """What a look may find in one aspect: by the finding how grave it is, and how it is called.

    at: the stages at which it is this rule's; None: any. until: the stage from which on it tells nothing any more.
    closed_by: the stage that ends what was found before it.
    """

    rule: str
    aspect: str
    found: Mapping[str, tuple[str, str]]
    meaning: str
    remedy: str
    source: str
    caution: cautions.Caution | None = None
    at: frozenset[str] | None = None
    until: str = "abandoned"
    closed_by: str = ""


SCORCH = Sign(
    "scorch", "scorch", {"smoke": ("act", "Smoke, or a smell of burning"), "scorched": ("act", "Scorched corn")},
    "Dry malt, dust and rootlets smoulder unseen, and light up when air comes to them.",
    "Heat and fuel off, doors shut, spray at hand. Only when all is cold, look for mould.",
    "common practice", cautions.KILN, closed_by="finished",
)  # fmt: skip
SLIME = Sign(
    "slime", "slime", {"slimy": ("caution", "It is slimy")},
    "Bacteria are growing: it stood too warm and too wet.",
    "Spread it thin, cool it, air it; throw out what is slimy, and scrub what it lay in.",
    "common practice", at=frozenset({"germination", "stewing", "kilning", "cooling", "finished"}),
)  # fmt: skip
INSECTS = Sign(
    "insects", "insects", {"live": ("caution", "Live insects"), "dead": ("notice", "Dead insects")},
    "They spread to all grain of the house, and warm and wet what they live in.",
    "Keep it apart, sieve them out, clean where it lay. Dead ones: ask what the store was sprayed with.",
    "published: (EU) 1272/2009, Annex I: grain bought in is free of live pests, as in the text of November 2015",
)  # fmt: skip
SPROUTED = Sign(
    "sprouted", "sprouted",
    {
        "many": ("caution", "More than 4 in 100 sprouted in the field"),
        "few": ("notice", "Some of it sprouted in the field"),
    },
    "What sprouted and dried again grows no more, and moulds.",
    "Lay out 100 kernels before you steep; below 95 grown, make something else of it.",
    "published: (EU) 1272/2009, Annex I: at most 4 in 100 in wheat bought in, 6 in barley, as in the text of November "
    "2015; the rest common practice", until="germination",
)  # fmt: skip


def seen(sign: Sign, batch: BatchAt) -> Iterator[Flag]:
    """What looks found in one aspect; ended by the next one that says that it is well."""
    run: list[Remark] = []
    for look in [*looks(batch.history, batch.now), None]:
        said = look.findings.get(sign.aspect) if look is not None else None
        stage = batch.stage_at(look.at) if look is not None else None
        if look is not None and said in sign.found and (sign.at is None or (stage and stage.name in sign.at)):
            run.append(look)
        elif run and (look is None or said == "none"):
            yield _seen_flag(sign, batch, run, look.at if look is not None else _over_at(sign, batch, run[-1].at))
            run = []


def _over_at(sign: Sign, batch: BatchAt, last: datetime) -> datetime | None:
    ends = [stage.starts_at for stage in batch.stages if stage.name in (sign.until, "abandoned")]
    ends += [stage.starts_at for stage in batch.stages if stage.name == sign.closed_by and stage.starts_at > last]
    return min(ends, default=None)


def _seen_flag(sign: Sign, batch: BatchAt, run: Sequence[Remark], ends_at: datetime | None) -> Flag:
    severity, word = next(said for key, said in sign.found.items() if any(_found(sign, look) == key for look in run))
    title = f"{word}{_of_lot(run[0])}, {batch.span_words(run[0].at, run[-1].at)}"
    return raised(
        batch, sign.rule, severity, run, Message(title, sign.meaning, sign.remedy), sign.source, ends_at=ends_at,
        caution=sign.caution, place=run[0].place,
    )  # fmt: skip


def _found(sign: Sign, look: Remark) -> str | None:
    return look.findings.get(sign.aspect)


RULES = (
    Rule("scorch", "Scorch or smoke", partial(seen, SCORCH)),
    Rule("mould", "Mould", mould),
    Rule("mould_counted", "Mouldy kernels", counted),
    Rule("off_smell", "Off smell", off_smell),
    Rule("not_sure", "Not sure", not_sure),
    Rule("ergot", "Ergot", ergot),
    Rule("slime", "Slime", partial(seen, SLIME)),
    Rule("insects", "Insects", partial(seen, INSECTS)),
    Rule("sprouted", "Sprouted in the field", partial(seen, SPROUTED)),
    Rule("knit_bag", "Test bag knit", knit_bag),
)
