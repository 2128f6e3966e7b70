"""What a look at grain found amiss: each finding with how grave it is, what it is, and what to do.

One table for batch, lot and phone. What stands nowhere in it is well; words of one's own are judged by nobody.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import NamedTuple

from app.judgement.cautions import KILN, MOULD
from app.judgement.facts.fields import Choice
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Remark
from app.judgement.malt.mould import ERGOT_LIMIT

GRAVITY = ("none", "notice", "caution", "act")
KEEP_APART = "Damp it, wear a mask (FFP3 or N100), bag it, clean the floor wet. Kilning does not remove its toxins."
ROOT_HAIRS = "Root hairs are white, only at rootlet tips, vanish when sprayed and don’t smell."
WET_STORE = (
    "It was wet, or still is: look for mould from arm’s length, and find the cause; no food from it until you know."
)
NO_FOOD = "Look for mould from arm’s length, and find the cause; no food from it until you know."
IN_STEEP = "With cold potable water; then give it a long air rest, cooler than before."
AIR_FIRST = "Carbon dioxide may lie over it: air the room before you bend down."
NO_STEEP_ON = f"By the record no steep is on. Where one is: drain it now, and rinse it. {AIR_FIRST}"
OVER_STEEP = (
    "Rinse it with cold potable water, then give it a long air rest. Carbon dioxide lies over it: air the room before "
    "you bend down."
)

FED_BY_AIR = (
    "Air feeds it. Out while you still see the door; call the fire brigade. What smoulders gives carbon monoxide."
)
SCORCHED = f"Spread what glows thin, outside, and wet it. What is scorched is kept apart. {KILN.short}"
FOUL = "Bacteria: it stood too warm and too wet. Throw out what is slimy, and scrub what it lay in."
WASHED_OUT = "The first steep washes out dirt and husk. Later, or with slime or a sour smell, it is foul."
INSECTS = "Sieve them out, clean where it lay, let none of it into the store. A week at −18 °C (0 °F) kills them."
SPROUTED = "What sprouted and dried again grows no more, and moulds. Lay out 100 kernels before you steep."

NOT_JUDGED = "Nobody judges words: where a field asks for it, say it there too, and it is judged."

MOULDY, SOUR = ("mould", "yes"), ("smell", "sour")
STIRRED = (("matting", "felted"), ("matting", "strands"), ("slime", "slimy"))


class Amiss(NamedTuple):
    """Something that is not well. status: notice, caution or act; text: what it is and what to do; detail: the rest."""

    status: str
    text: str
    detail: str


AMISS: Mapping[tuple[str, str], Amiss] = MappingProxyType(
    {
        # Fire first, mould second: what the phone finds first here is what it says.
        ("scorch", "smoke"): Amiss("act", "Smoke: heat and fuel off, doors shut", FED_BY_AIR),
        ("scorch", "scorched"): Amiss("act", "Scorched: heat off, look for what glows", SCORCHED),
        ("mould", "yes"): Amiss("act", "Mould: don’t turn, sniff or shake it", KEEP_APART),
        ("smell", "musty"): Amiss("act", "Smells musty: keep it apart, don’t sniff again", NO_FOOD),
        ("smell", "off"): Amiss("act", "Smells off: keep it apart, don’t sniff again", NO_FOOD),
        ("smell", "sour"): Amiss("act", "Smells sour: keep it apart, thin, cool and aired", NO_FOOD),
        ("mould", "not_sure"): Amiss("caution", "Not sure: keep it apart and look again in 6 h", ROOT_HAIRS),
        ("smell", "not_sure"): Amiss("caution", "Not sure of the smell: keep it apart, look again in 6 h", ROOT_HAIRS),
        ("steep", "foaming"): Amiss("caution", "It foams, though not under water: air the room", NO_STEEP_ON),
        ("steep", "gassy"): Amiss("caution", "It is gassy, though not under water: air the room", NO_STEEP_ON),
        ("slime", "slimy"): Amiss("caution", "Slimy: spread it thin, cool it, air it", FOUL),
        ("insects", "live"): Amiss("caution", "Live insects: keep it apart from all other grain", INSECTS),
        ("sprouted", "many"): Amiss("caution", "Sprouted in the field, more than 4 in 100: test it", SPROUTED),
        ("matting", "felted"): Amiss("caution", "Rootlets felted: turn it now", "Gently, and break up what has knit."),
        ("matting", "strands"): Amiss("notice", "Rootlets knit: turn it", "Gently, and break up what has knit."),
        ("colour", "brown"): Amiss("notice", "Brown water: change it", WASHED_OUT),
        ("insects", "dead"): Amiss(
            "notice", "Dead insects: ask what they died of", "A sprayed store is no food store."
        ),
        ("sprouted", "few"): Amiss("notice", "Sprouted in the field: test its germination", SPROUTED),
    }
)
UNDER_WATER: Mapping[tuple[str, str], Amiss] = MappingProxyType(
    {
        ("slime", "slimy"): Amiss("caution", "Slimy: drain it now", f"{OVER_STEEP} Scrub what it lay in."),
        ("steep", "foaming"): Amiss("caution", "The steep foams: drain it now", OVER_STEEP),
        ("steep", "gassy"): Amiss("caution", "The steep is gassy: drain it now", OVER_STEEP),
    }
)
"""What is said otherwise of a batch that is under water."""

OUT_OF_WATER: Mapping[tuple[str, str], Amiss] = MappingProxyType(
    {("slime", "slimy"): Amiss("caution", "Slimy: rinse it now, and drain it", f"{IN_STEEP} Scrub what it lay in.")}
)
ON_THE_KILN: Mapping[tuple[str, str], Amiss] = MappingProxyType(
    {
        ("smell", smell): Amiss("act", f"Smells {smell}: heat off, look for fire first", f"Then for mould. {NO_FOOD}")
        for smell in ("musty", "off")
    }
)

IN_STORE: Mapping[tuple[str, str], Amiss] = MappingProxyType(
    {
        ("scorch", "smoke"): Amiss("act", "Smoke: out, doors shut, call the fire brigade", FED_BY_AIR),
        ("scorch", "scorched"): Amiss(
            "caution", "Scorched corn: keep the lot apart", "It was dried too hot, or heated."
        ),
        ("slime", "slimy"): Amiss("act", "Slimy: charge nothing from it", WET_STORE),
        ("mould", "yes"): Amiss("act", "Mould: keep this lot out of the house", MOULD.text),
        ("smell", "musty"): Amiss("act", "It smells musty: charge nothing from it", MOULD.text),
        ("smell", "off"): Amiss("act", "It smells wrong: charge nothing from it", MOULD.text),
        ("smell", "sour"): Amiss("act", "It smells sour: charge nothing from it", WET_STORE),
        ("mould", "not_sure"): Amiss("caution", "Not sure: keep the lot apart, and look again in 6 h", MOULD.short),
        ("smell", "not_sure"): Amiss("caution", "Not sure of its smell: keep the lot apart", MOULD.short),
    }
)
"""What is said otherwise of a lot that lies in store."""

ERGOT = Amiss(
    "caution",
    "Ergot: pick it all out, and weigh it",
    "Gloves on; keep it from food and feed. "
    f"Above {1000.0 * ERGOT_LIMIT:g} g in a kilogram of raw grain the grain is rejected.",
)
SOUR_STEEP = Amiss("caution", "Smells sour: drain and rinse it now", IN_STEEP)
PERHAPS_MOULD = frozenset(finding for finding in AMISS if finding[0] in ("mould", "smell")) - {("smell", "sour")}


def amiss_in_batch(look: Remark, share: float | None, *, stage: str | None, is_mouldy: bool) -> list[Amiss]:
    """All that a look at a batch found amiss, the gravest first.

    share: ergot found so far, kg in a kg of the charge; stage: of the batch at that look, None before the first;
    is_mouldy: whether mould stands against the grain already.
    """
    seen = set(look.findings.items())
    told = told_at(stage)
    if is_mouldy or seen & PERHAPS_MOULD:
        # What may be mouldy is turned by nobody.
        told |= {each: _left_alone(told[each]) for each in STIRRED}
    if is_mouldy and told[SOUR] is SOUR_STEEP:
        told[SOUR] = _left_alone(SOUR_STEEP)
    return _gravest_first(look, told, share, "the charge")


def told_at(stage: str | None) -> dict[tuple[str, str], Amiss]:
    """What is said of each finding in a batch at this stage, fire first."""
    told = dict(AMISS)
    if stage == "immersion":
        return {**told, **UNDER_WATER, ("smell", "sour"): SOUR_STEEP}
    if stage == "air_rest":
        return {**told, **OUT_OF_WATER, ("smell", "sour"): SOUR_STEEP}
    return {**told, **ON_THE_KILN} if stage in ("kilning", "cooling") else told


def not_said(look: Remark, stage: str) -> list[str]:
    """What is asked of grain at this stage, and this look doesn't say. stage: "lot" of what lies in store."""
    said = {*look.findings, *(("ergot",) if look.ergot_kg is not None else ())}
    asked = [spec for spec in KINDS["inspection"].fields.values() if isinstance(spec, Choice) and spec.is_asked(stage)]
    return [spec.word.lower() for spec in asked if spec.target.removeprefix("findings.") not in said]


def amiss_in_lot(look: Remark, share: float | None) -> list[Amiss]:
    """All that a look at a lot found amiss, the gravest first. share: ergot in it, kg in a kg, at the least."""
    return _gravest_first(look, {**AMISS, **IN_STORE}, share, "the whole lot, or more")


def _gravest_first(look: Remark, told: Mapping[tuple[str, str], Amiss], share: float | None, of: str) -> list[Amiss]:
    amiss = [each for finding, each in told.items() if look.findings.get(finding[0]) == finding[1]]
    is_mouldy = look.findings.get("mould") == "yes"
    if is_mouldy:
        fire = {each for finding, each in told.items() if finding[0] == "scorch"} | set(ON_THE_KILN.values())
        gas = {told["steep", seen] for seen in ("foaming", "gassy")}
        stand = {told[MOULDY], *fire}
        amiss = [each if each in stand else _left_alone(each, AIR_FIRST if each in gas else "") for each in amiss]
    if look.ergot_kg or look.findings.get("ergot") == "yes":
        ergot = _ergot(share, of)
        amiss.append(_left_alone(ergot) if is_mouldy and ergot is ERGOT else ergot)
    return sorted(amiss, key=lambda each: -GRAVITY.index(each.status))


def _left_alone(amiss: Amiss, detail: str = "") -> Amiss:
    """What is amiss without what to do with the grain: of mouldy grain only the order about the mould holds."""
    return Amiss(amiss.status, amiss.text.split(":")[0], detail)


def _ergot(share: float | None, of: str) -> Amiss:
    if share is None or share <= ERGOT_LIMIT:
        return ERGOT
    return Amiss("act", f"Ergot, {1000.0 * share:.2f} g/kg of {of}: reject it", "Keep it from food and feed.")


def in_one(amiss: list[Amiss]) -> Amiss:
    """Several things amiss as one: the gravest, and after it the others."""
    first, *others = amiss
    return Amiss(first.status, first.text, " ".join([first.detail, *_said(others)]).strip())


def _said(amiss: list[Amiss]) -> Iterator[str]:
    for each in amiss:
        yield f"{each.text}."
        if each.detail:
            yield each.detail
