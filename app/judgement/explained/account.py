"""The lines of the malting-loss account with their values put in: dry matter, and its share of what was charged."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from app.judgement.explained.explanation import Asked, Explanation, Line, Share, Term, sum_of
from app.judgement.explained.measures import Explain, as_is_kg
from app.judgement.facts.shapes import Fact
from app.judgement.grain.losses import RELATIVE_SD
from app.judgement.measures.account import Account, account_of
from app.judgement.measures.account_lines import AccountLine
from app.judgement.wording import Words

METHODS = {
    "skimmings": "mass_balance.skimmings_share",
    "steep": "mass_balance.balance",
    "respiration": "growth.respiration",
    "remainder": "mass_balance.unexplained",
}
DRY = "mass_balance.dry_matter_with_sd"


def _line(asked: Asked) -> Explanation | None:
    found = asked.batch.once(account_of)
    if found.charge is None:
        return None
    if asked.name in ("remainder", "left"):
        return _rest(found, asked.name, asked.words)
    line = found.charge if asked.name == "charge" else found.line(asked.name)
    shown = of_line(found, line, asked.words) if line is not None else None
    if shown is None or line is None or line.parts:
        return shown
    return replace(shown, terms=(*shown.terms, *_estimated(asked, line.key)))


STAGES = {
    "steep": ("immersion", "air_rest"),
    "respiration": ("germination",),
    "culms": ("germination",),
    "roast": ("kilning",),
}


def _estimated(asked: Asked, key: str) -> Iterator[Term]:
    """What an estimate goes by: the programme's figure, and the hours that it is taken in proportion to."""
    batch, words = asked.batch, asked.words
    name = f"{'rootlet' if key == 'culms' else key}_loss"
    setting = batch.programme.settings.get(name) if batch.programme is not None else None
    if setting is not None:
        said = words.percent(setting.value, decimals=1)
        yield Term("", "the programme’s figure, in the hours that it plans", said, setting.value, mark=setting.mark,
                   source=setting.source)  # fmt: skip
    stages = batch.stages_named(*STAGES.get(key, ()))
    begun = [fact for stage in stages if (fact := batch.history.by_id(stage.fact_id)) is not None]
    if stages:
        hours = sum(stage.hours(batch.now) for stage in stages)
        yield Term("", "the hours that it had", f"{hours:.1f} h", hours, "h", tuple(begun))


def of_line(found: Account, line: AccountLine, words: Words) -> Explanation | None:
    """A line's dry matter, and its share."""
    charge, figure = found.charge, found.share_of(line)
    if charge is None or figure is None:
        return None
    is_charge = line is charge
    symbol = "D₀" if is_charge else "D"
    terms: tuple[Term, ...]
    lines: list[Line] = []
    if line.parts:
        formula, terms = sum_of("d", [_part(fact, dry, words) for fact, dry in line.parts])
        lines.append(Line(symbol, formula, line.dry_kg, "kg", words.mass(line.dry_kg, line.half_width_kg)))
    else:
        said = words.mass(line.dry_kg, line.half_width_kg)
        terms = (Term(symbol, line.note, said, line.dry_kg, "kg", mark="M"),)
    if not is_charge:
        terms += (_charged(charge, words),)
    lines.append(Line("p", f"{symbol} / D₀", figure.value, said=words.percent(figure.value, figure.half_width)))
    ratio = line.dry_kg / charge.dry_kg
    own = Share("this line by itself", 2.0 * line.sd_kg / charge.dry_kg, "" if line.parts else "M")
    shares = [own, Share("the charge", 2.0 * ratio * charge.sd_kg / charge.dry_kg)] if line.parts else [own]
    if is_charge:
        # The whole is the whole: what is unsure of it is its mass.
        shares = []
    notes = [line.note] if line.note and line.parts else []
    if line.key in RELATIVE_SD or not line.parts:
        notes.append("Such an estimate is taken as ± half of itself, that of the steep as ± all of it (from memory).")
    half_width = None if is_charge else figure.half_width
    made = (terms, tuple(lines), tuple(shares), tuple(notes))
    return Explanation(METHODS.get(line.key, DRY), "fraction", figure.value, *made, half_width=half_width)


def _part(fact: Fact, dry_kg: float, words: Words) -> Term:
    kg = as_is_kg(fact)
    share = f" less {words.percent(1.0 - dry_kg / kg)} of water" if kg > 0.0 else ""
    return Term("d", "dry", f"{words.mass(kg)}{share} = {words.mass(dry_kg)}", dry_kg, "kg", (fact,))


def _charged(charge: AccountLine, words: Words) -> Term:
    said = words.mass(charge.dry_kg, charge.half_width_kg)
    return Term("D₀", "charged, dry", said, charge.dry_kg, "kg", charge.facts)


def _rest(found: Account, key: str, words: Words) -> Explanation | None:
    """What no line explains; or, until the malt is weighed, what should still be there."""
    charge, figure = found.charge, found.remainder_share
    assert charge is not None
    if key == "remainder" and figure is not None and found.remainder is not None:
        value, share, half_width = found.remainder.value, figure.value, figure.half_width
    elif key == "left" and found.left_dry_kg is not None:
        value, share, half_width = found.left_dry_kg, found.left_dry_kg / charge.dry_kg, 0.0
    else:
        return None
    taken = [
        Term(
            "D",
            line.word,
            words.mass(line.dry_kg, line.half_width_kg),
            line.dry_kg,
            "kg",
            line.facts,
            "" if line.parts else "M",
        )
        for line in found.lines
    ]
    formula, terms = sum_of("D", taken) if taken else ("0", ())
    lines = (
        Line("U", f"D₀ − ({formula})", value, "kg", words.mass(value)),
        Line("p", "U / D₀", share, said=words.percent(share, half_width or None)),
    )
    each = [charge, *found.lines] if half_width else []
    shares = tuple(Share(line.word.lower(), 2.0 * line.sd_kg / charge.dry_kg) for line in each)
    return Explanation(
        METHODS.get(key, DRY),
        "fraction",
        share,
        (_charged(charge, words), *terms),
        lines,
        tuple(shares),
        half_width=half_width or None,
    )


def _culms(asked: Asked) -> Explanation | None:
    return _line(asked._replace(name="culms"))


EXPLAINED: Mapping[str, Explain] = {"account": _line, "culms_share": _culms}
