"""The malting-loss account as rows, in the reader's words."""

from __future__ import annotations

from app.judgement.measures.account import Account
from app.judgement.wording import Words
from app.web.words.figures import unbroken


def account_rows(found: Account, words: Words) -> list[tuple[str, str, str, str, str]]:
    """The malting-loss account: name, share of the dry charge, how it is known, the mass, and the line's key."""
    if found.charge is None or found.charge.dry_kg <= 0.0:
        return []
    total = found.charge.dry_kg
    rows = [("Charged, dry", "100\u00a0%", found.charge.how, _mass(words, total, found.charge.half_width_kg), "charge")]
    for line in found.lines:
        how = f"{line.how}: {line.note}" if line.note else line.how
        figure = found.share_of(line)
        share = unbroken(words.percent(figure.value, figure.half_width)) if figure is not None else ""
        rows.append((line.word, share, how, _mass(words, line.dry_kg, line.half_width_kg), line.key))
    left, share_left = found.remainder, found.remainder_share
    if left is not None and share_left is not None:
        share = unbroken(words.percent(share_left.value, share_left.half_width))
        rows.append(("Unexplained", share, "remainder", _mass(words, left.value, left.half_width), "remainder"))
    elif found.left_dry_kg is not None:
        share = unbroken(words.percent(found.left_dry_kg / total))
        rows.append(("Still in the batch", share, "what is left", _mass(words, found.left_dry_kg), "left"))
    return rows


def _mass(words: Words, kg: float, half_width_kg: float | None = None) -> str:
    return unbroken(words.mass(kg, half_width_kg))
