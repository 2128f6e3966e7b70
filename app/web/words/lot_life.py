"""What is known of a lot's life as rows, in the reader's words: its tests, and how much of its storage life is used."""

from __future__ import annotations

from app.judgement.grain.germination_tests import Capacity, LotTests, Plates, Points
from app.judgement.grain.lot_storage import StorageUse
from app.judgement.grain.lot_verdict import LotVerdict, dormancy_said, sensitivity_said
from app.judgement.wording import Words
from app.web.words.figures import unbroken

Row = tuple[str, str, str, str, str, str]
"""As the macro for stats takes it: name, value, note, status, word, key by which it is explained."""

YEAR_D = 365.0


def life_rows(verdict: LotVerdict, words: Words) -> list[Row]:
    """The figures behind the verdict on a lot."""
    return [*_tested(verdict.tests), *_stored(verdict.storage, words)]


def _tested(tests: LotTests) -> list[Row]:
    rows = [_energy("4\u00a0mL", tests.four, "energy_4ml"), _energy("8\u00a0mL", tests.eight, "energy_8ml")]
    if tests.water_sensitivity is not None:
        sensitivity = tests.water_sensitivity
        points, key = unbroken(sensitivity.words), "water_sensitivity"
        rows.append(("Water sensitivity", points, sensitivity_said(sensitivity), "", "", key))
    for water, plates, key in (("4\u00a0mL", tests.four, "index_4ml"), ("8\u00a0mL", tests.eight, "index_8ml")):
        if plates is not None and plates.index is not None:
            rows.append(
                (f"Germination index, {water}", f"{plates.index:.2f}", "10 if all grew on day one", "", "", key)
            )
    return [row for row in rows if row] + _capacity(tests.capacity, tests.dormancy)


def _energy(water: str, plates: Plates | None, key: str) -> Row | None:
    if plates is None:
        return None
    dishes = "" if len(plates.dishes) == 1 else f", {len(plates.dishes)} dishes"
    low, high = plates.shown_percent
    note = f"{low:.1f}–{high:.1f}\u00a0%, n\u00a0=\u00a0{plates.n}{dishes}"
    return (f"Germinative energy, {water}", f"{plates.energy_percent:.1f}\u00a0%", note, "", "", key)


def _capacity(capacity: Capacity | None, dormancy: Points | None) -> list[Row]:
    if capacity is None:
        return []
    low, high = capacity.shown_percent
    note = f"{low:.1f}–{high:.1f}\u00a0%, n\u00a0=\u00a0{capacity.n}"
    key = "capacity"
    rows: list[Row] = [("Germination capacity", f"{capacity.percent:.1f}\u00a0%", note, "", "", key)]
    if dormancy is not None:
        points, said = unbroken(dormancy.words), f"capacity less energy: {dormancy_said(dormancy)}"
        rows.append(("Dormancy", points, said, "", "", "dormancy"))
    return rows


def left_words(shortest: float, longest: float) -> str:
    """What is left of a storage life, no finer than its tables and an assumed temperature tell it."""
    if longest <= 0.0:
        return "by the tables nothing is left"
    first, last = (_about(days) for days in (shortest, longest))
    return f"{last} left" if first == last else f"{first} to {last} left"


def _about(days: float) -> str:
    if days <= 0.0:
        return "nothing"
    if days >= 1.5 * YEAR_D:
        return "more than a year and a half"
    if days >= YEAR_D:
        return "more than a year"
    step = 10.0 if days >= 60.0 else 1.0
    return f"about {step * round(days / step):.0f}\u00a0days"


def _stored(use: StorageUse | None, words: Words) -> list[Row]:
    if use is None:
        return []
    at = unbroken(f"{words.percent(use.moisture_wb)} and {words.temperature(use.temperature_c)}")
    used = "–".join(dict.fromkeys(f"{100 * each:.0f}" for each in use.used))
    by = "estimate" if use.used[0] == use.used[1] else "estimate by two methods"
    note = f"{by}: {left_words(*use.left_days)} at {at}, a temperature that is assumed"
    return [("Storage life used", f"{used}\u00a0%", note, "", "", "storage")]
