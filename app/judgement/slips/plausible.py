"""What a value is usually like, by kind, stage and programme: only to tell a slip of the pen from a reading.

What is so at every stage stands with the kind itself; here is what hangs on stage and programme.

Far wider than any limit of a programme. All from memory or from what the trade's scales and kilns are made for: a
value outside is asked about, never refused.
"""

from __future__ import annotations

from functools import lru_cache

from app.judgement.facts.kind_parts import Plausible, Span
from app.judgement.facts.kinds import KINDS
from app.judgement.programmes.programme import Programme

RULES = ("moisture", "room_air", "grain", "air_on", "air_off")
"""Those that a kind may name, where what is plausible hangs on stage and programme."""
_HEATED = ("kilning", "stewing")
_KILN_DEFAULT_C = 120.0
_ROAST_C = 245.0

_MOISTURE: dict[str, Span] = {
    "charged": Span(0.06, 0.25),
    "immersion": Span(0.1, 0.55),
    "air_rest": Span(0.2, 0.55),
    "germination": Span(0.3, 0.55),
    "stewing": Span(0.3, 0.55),
    "kilning": Span(0.01, 0.55),
    "cooling": Span(0.01, 0.15),
    "finished": Span(0.01, 0.15),
}


def plausible_range(
    kind: str, stage: str, programme: Programme | None, target: str = "value"
) -> tuple[float, float] | None:
    """(low, high) in SI, outside which a value of this kind is asked about; None where nothing can be said.

    target: the attribute of the fact: value, or moisture_wb of a weighing.
    """
    expected = plausible(kind, stage, programme, target)
    return None if expected is None else (expected.possible.low, expected.possible.high)


@lru_cache(maxsize=1024)
def plausible(kind: str, stage: str, programme: Programme | None, target: str = "value") -> Plausible | None:
    """What is usual, possible and wild for a value of this kind at this stage."""
    about = KINDS[kind]
    if target == "moisture_wb" or (target == "value" and about.plausible == "moisture"):
        is_raw = about.moisture_as == "charged" or (stage == "charged" and programme is None)
        return _moisture(about.moisture_as or stage, is_raw)
    if target != "value":
        return None
    if not isinstance(about.plausible, str):
        return about.plausible
    usual, possible = _temperature_spans(about.plausible, stage, programme)
    return Plausible(usual, possible, possible.wider(20.0, 40.0))


def _moisture(stage: str, is_raw: bool) -> Plausible:
    usual = _MOISTURE.get(stage, Span(0.01, 0.6))
    possible = Span(max(usual.low / 2, 0.005), min(usual.high + 0.1, 0.65))
    # So wet no grain comes from the field: that is asked about in any case.
    return Plausible(usual, possible, Span(0.002, possible.high if is_raw else 0.8))


def _temperature_spans(rule: str, stage: str, programme: Programme | None) -> tuple[Span, Span]:
    if rule == "room_air":
        return Span(-10.0, 38.0), Span(-25.0, 60.0 if stage in _HEATED else 45.0)
    hottest = _hottest_c(programme, for_grain=rule == "grain")
    if rule == "grain":
        if stage in (*_HEATED, "cooling", "finished"):
            return Span(10.0, hottest - 5.0), Span(-5.0, hottest)
        return Span(6.0, 28.0), Span(1.0, 36.0)
    if stage == "cooling":
        # As the heat goes off, the air is as hot as it was.
        return Span(0.0, hottest - 5.0), Span(-25.0, hottest)
    if stage not in _HEATED:
        return Span(0.0, 40.0), Span(-25.0, 60.0)
    # Air-on below this is a kiln that isn't lit: as good a reading as any, unless 65 was meant as °C.
    lowest = 5.0 if rule == "air_off" else 25.0
    return Span(lowest + 10.0, hottest - 5.0), Span(lowest, hottest)


def _hottest_c(programme: Programme | None, *, for_grain: bool) -> float:
    """What nothing on the programme's kiln should come near: 15 °C above its hottest bound for air."""
    if programme is None:
        return _KILN_DEFAULT_C
    if programme.is_roast:
        return _ROAST_C if for_grain else _ROAST_C + 60.0
    bounds = [
        high
        for key, limit in programme.limits.items()
        if key.startswith("air_on_temperature.")
        for _, _, high in limit.bands()
        if high is not None
    ]
    return max(bounds) + 15.0 if bounds else _KILN_DEFAULT_C
