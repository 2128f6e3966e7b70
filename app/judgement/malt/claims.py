"""What a name may not say of malt that nobody has shown: diastatic, dark, smoked, gluten-free."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from app.judgement.facts.shapes import Action, Result
from app.judgement.history.history import History
from app.judgement.malt.tests import conversion_of
from app.science.malt_analysis import GRIST_NEEDS_LINTNER

DARK_FROM_EBC = 15.0
"""From memory: where the malts begin that are sold as dark."""
DIASTATIC_FROM_CONVERSION = 0.5
"""The house's own [M]: diastatic malt converts within twice the time of a good reference malt."""

SMOKE = re.compile(r"(?<![a-z])smok(?:e|ed|y)(?![a-z])", re.IGNORECASE)
NO_SMOKE = re.compile(
    r"\b(?:no|not|never|without|free (?:of|from))\b[^.;]*\bsmok|\bnon[\s\u2010-\u2015-]*smok|"
    r"\bsmoke[\s\u2010-\u2015-]*(?:free|less)\b",
    re.IGNORECASE,
)


class Claim(NamedTuple):
    """words: what says it; missing: what would show it; is_shown: whether a batch's record does."""

    words: re.Pattern[str]
    missing: str
    is_shown: Callable[[History], bool]


def _last(history: History, kind: str) -> Result | None:
    measured = [fact for fact in history.of_shape(Result, kind) if fact.quality == "measured"]
    return measured[-1] if measured else None


def _is_diastatic(history: History) -> bool:
    power = _last(history, "diastatic_power")
    if power is not None:
        return power.value > GRIST_NEEDS_LINTNER
    test = _last(history, "conversion_test")
    return test is not None and conversion_of(test) >= DIASTATIC_FROM_CONVERSION


def _is_dark(history: History) -> bool:
    colour = _last(history, "malt_colour")
    return colour is not None and colour.value >= DARK_FROM_EBC


def _tells_of_smoke(what: str) -> bool:
    return SMOKE.search(what) is not None and NO_SMOKE.search(what) is None


def _is_smoked(history: History) -> bool:
    return any(_tells_of_smoke(fact.what or "") for fact in history.of_shape(Action, "addition"))


CLAIMS: Mapping[str, Claim] = MappingProxyType(
    {
        "diastatic": Claim(
            re.compile(r"(?<![a-z])(?:non[- ]?)?diastatic(?![a-z])", re.IGNORECASE),
            "measure its diastatic power, or convert within twice the time of a reference malt",
            _is_diastatic,
        ),
        "dark": Claim(
            re.compile(r"(?<![a-z])dark(?![a-z])", re.IGNORECASE),
            f"measure its colour, or read it by eye against a scale: {DARK_FROM_EBC:g} EBC or more",
            _is_dark,
        ),
        "smoked": Claim(SMOKE, "record the smoke as an addition, with what and how long", _is_smoked),
        "gluten-free": Claim(
            re.compile(
                r"\bgluten[\s\u2010-\u2015-]*free\b|\b(?:no|without|free (?:of|from)) gluten\b|(?<![^\W_])gf(?![^\W_])",
                re.IGNORECASE,
            ),
            "no entry here can show it",
            lambda history: False,
        ),
    }
)


def unproven(histories: Sequence[History]) -> tuple[str, ...]:
    """The claims that not every batch behind some malt bears out."""
    return tuple(
        key for key, claim in CLAIMS.items() if not histories or not all(claim.is_shown(each) for each in histories)
    )


def claimed(text: str, among: Collection[str]) -> list[str]:
    """Which of these claims a text makes."""
    return [key for key in among if CLAIMS[key].words.search(text)]


def without(text: str, claims: Collection[str]) -> str:
    """The text without these claims: "Barley, diastatic malt" is "Barley malt"."""
    made = claimed(text, claims)
    for key in made:
        text = CLAIMS[key].words.sub(" ", text)
    if not made:
        return text
    plain = re.sub(r"\s*,(?=\s+malt\b)", "", " ".join(text.split())).strip(" ,·-–_")
    return plain[:1].upper() + plain[1:]
