"""Reading how figures came about: the links from numbers, and their formulas worked out by themselves."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable, Iterator
from datetime import datetime
from urllib.parse import unquote

from flask import Flask
from flask.testing import FlaskClient

from app.judgement.explained import Explanation, of_batch, of_lot
from app.judgement.explained.explanation import in_all
from app.judgement.wording import Words
from app.store.batches import get_batch
from app.store.engine import read_session
from app.store.history import get_history
from app.store.lots import get_lot, load_lot_stories
from app.web.request.moment import zone
from tests.writing import NOW

NUMBER = re.compile(r"\d+(?:\.\d+)?")
LINK = re.compile(r'<a class="how" href="([^"]+)" aria-label="how ([^"]*) came about">(.*?)</a>', re.DOTALL)


def plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "", text)).replace("\u00a0", " ").split())


def explanations(app: Flask, links: dict[str, str]) -> Iterator[tuple[str, str, Explanation]]:
    """Of each link to a figure of a batch or a lot: its address, what the page says, and the explanation."""
    with app.test_request_context(), read_session(app.extensions["engine"]) as session:
        words = Words(zone=zone(), now=NOW)
        histories = {}
        for address, said in links.items():
            _, of, name, _, key = [*address.split("/", 4), ""][:5]
            if of == "batches":
                if name not in histories:
                    histories[name] = get_history(session, get_batch(session, int(name)).id)
                shown = of_batch(histories[name], NOW, words, unquote(key))
            elif of == "lots":
                shown = of_lot(load_lot_stories(session, [get_lot(session, name)])[0].info, NOW, words, key)
            else:
                continue
            assert shown is not None, address
            yield address, said, shown


def worked_out(filled: str) -> float:
    """What a formula with its values comes to."""
    bare = re.sub(r"\u00a0[^\s()]+", "", filled)
    for ours, python in (("×", "*"), ("−", "-"), ("^", "**"), ("√", "sqrt"), ("ln", "log")):
        bare = bare.replace(ours, python)
    assert re.fullmatch(r"(?:[0-9.+*/() -]|sqrt|log|exp)+", bare), bare
    return float(eval(bare, {"__builtins__": {}, "sqrt": math.sqrt, "log": math.log, "exp": math.exp}))


def is_said(shown: Explanation, said: str) -> bool:
    """Whether a text has the value of an explanation in it, as exactly as the text says it."""
    if isinstance(shown.value, datetime):
        words = Words(zone=zone(), now=NOW)
        said_as = (words.clock(shown.value), *(words.around(shown.value, is_floor=each) for each in (True, False)))
        return any(each in said for each in said_as)
    assert shown.value is not None
    if shown.unit in ("colour", "diastatic_power"):
        return Words().quantity(shown.unit, shown.value) in said
    scales = {"wb": (100.0,), "fraction": (100.0,), "kg": (1.0, 1000.0), "h": (1.0, 60.0)}.get(shown.unit, (1.0,))
    for number in NUMBER.findall(said):
        whole, _, decimals = number.partition(".")
        places = len(decimals) if decimals else -(len(whole) - len(whole.rstrip("0"))) if float(whole) else 0
        if any(abs(float(number) - abs(scale * shown.value)) <= 0.51 * 10.0**-places for scale in scales):
            return True
    return False


def links_of(client: FlaskClient, pages: Iterable[str]) -> dict[str, str]:
    """Each link from a number on these pages, and the number."""
    found: dict[str, str] = {}
    for page in pages:
        for address, name, said in LINK.findall(client.get(page).text):
            assert plain(name) == plain(said), (page, address)
            found[html.unescape(address)] = plain(said)
    return found


def pages_that_show_another(client: FlaskClient, links: dict[str, str]) -> dict[str, str]:
    """Of links from numbers those whose page does not show the very number."""
    wrong = {}
    for address, said in links.items():
        answer = client.get(address)
        page = plain(answer.text.partition("<main")[2])
        if answer.status_code != 200 or "no longer there" in page:
            wrong[address] = f"{said}: {answer.status_code}, gone"
        elif address.startswith("/facts/"):
            # Beside it may stand the other unit, or what it means.
            numbers = NUMBER.findall(said)
            if numbers and not re.search(rf"(?<!\d){re.escape(numbers[0])}", page):
                wrong[address] = said
        elif said not in page:
            wrong[address] = said
    return wrong


def formulas_that_come_to_another(app: Flask, client: FlaskClient, links: dict[str, str]) -> dict[tuple[str, str], str]:
    """Formulas that with their values do not come to what is said, or values that are not the number on the page."""
    wrong = {}
    for address, said, shown in explanations(app, links):
        for line in shown.lines:
            filled = shown.filled(line)
            off = abs(worked_out(filled) - line.value)
            if off > 1e-3 * abs(line.value) + 1e-4 * max(map(float, NUMBER.findall(filled)), default=1.0):
                wrong[address, line.symbol] = f"{filled} = {worked_out(filled)}, not {line.value}"
        if "/how/step." in address:
            # There the words that lead to it are why it is due, and not when.
            said = plain(client.get(address).text.partition("<main")[2].partition("</header>")[0])
        if shown.value is not None and NUMBER.search(said) and not is_said(shown, said):
            wrong[address, ""] = f"{said}, and not {shown.value} {shown.unit}"
    return wrong


def parts_that_make_another(app: Flask, links: dict[str, str]) -> dict[str, tuple[float, float]]:
    """Parts of an uncertainty that do not make up the interval that is shown."""
    told = [(address, shown) for address, _, shown in explanations(app, links)]
    return {
        address: (in_all(shown.shares), shown.half_width)
        for address, shown in told
        if shown.half_width and not math.isclose(in_all(shown.shares), shown.half_width, rel_tol=0.02)
    }
