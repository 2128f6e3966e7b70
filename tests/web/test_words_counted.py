"""How many words stand on a tub's and on a batch's page: those that are open before anything is pressed, and all."""

from __future__ import annotations

import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from app.config import Settings

NO_END = {"input", "br", "img", "link", "meta", "hr", "path", "rect", "circle", "line", "use", "stop", "col"}
NEVER_READ = {"script", "style", "svg", "datalist", "option", "head"}
OPEN_BEFORE = {
    "1/tub": 93, "2/tub": 93, "3/tub": 92, "4/tub": 93, "5/tub": 88, "6/tub": 84, "7/tub": 164, "8/tub": 155,
    "1": 4560, "2": 5138, "3": 5206, "4": 767, "5": 4718, "6": 4522, "7": 2336, "8": 993,
}  # fmt: skip
"""Words that stood open on the pages of the demo's batches before their labels were shortened."""
ALL_AT_MOST = {
    "1/tub": 1160, "2/tub": 1160, "3/tub": 1160, "4/tub": 720, "5/tub": 1160, "6/tub": 1160, "7/tub": 1285,
    "8/tub": 1315, "1": 4050, "2": 4640, "3": 4640, "4": 660, "5": 4360, "6": 4220, "7": 2000, "8": 850,
}  # fmt: skip
"""With every entry's own screen, the table under the chart, and the record: what they came to, and no more."""


class Reader(HTMLParser):
    """all_words: of the whole page; open_words: those outside what is folded, or opens at a press."""

    def __init__(self) -> None:
        super().__init__()
        self.within: list[tuple[str, bool, bool]] = []
        self.all_words = self.open_words = 0

    def handle_starttag(self, tag: str, given: list[tuple[str, str | None]]) -> None:
        if tag in NO_END:
            return
        attributes = dict(given)
        classes = (attributes.get("class") or "").split()
        is_never_read = tag in NEVER_READ or "hidden" in attributes or bool({"hide-but-say", "skip"} & {*classes})
        is_shut = (tag == "details" and "open" not in attributes) or "popover" in attributes
        is_shut |= "screen" in classes and "screen--open" not in classes
        is_shut |= bool({"common", "chart-waits"} & {*classes})
        self.within.append((tag, is_never_read, is_shut))

    def handle_endtag(self, tag: str) -> None:
        while any(each[0] == tag for each in self.within) and self.within.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if any(is_never_read for _, is_never_read, _ in self.within):
            return
        count = sum(bool(re.search(r"\w", word)) for word in data.split())
        self.all_words += count
        # A fold's own summary stands open where the fold itself does.
        tags = [tag for tag, _, _ in self.within]
        shut = [place for place, (_, _, is_shut) in enumerate(self.within) if is_shut]
        self.open_words += count if all(tags[place + 1 : place + 2] == ["summary"] for place in shut) else 0


def read(client: FlaskClient, page: str) -> Reader:
    reader = Reader()
    reader.feed(client.get(f"/batches/{page}").text)
    return reader


@pytest.fixture
def settings(settings: Settings, demo_file: Path) -> Settings:
    """The house is the demo malthouse."""
    shutil.copy(demo_file, settings.database_file)
    return settings


def test_a_summary_is_read_and_what_it_folds_is_not() -> None:
    reader = Reader()
    reader.feed(
        "<p>one <svg><text>no</text></svg><br>two</p><details><summary>three</summary>four <b>five</b></details>"
    )
    assert (reader.open_words, reader.all_words) == (3, 5)


@pytest.mark.usefixtures("morning")
def test_the_tub_and_the_batch_show_at_most_two_thirds_of_the_words_that_they_did(client: FlaskClient) -> None:
    counted = {page: read(client, page) for page in OPEN_BEFORE}
    assert min(each.open_words for each in counted.values()) > 20
    too_many = {page: each.open_words for page, each in counted.items() if 3 * each.open_words > 2 * OPEN_BEFORE[page]}
    assert too_many == {}
    assert {page: each.all_words for page, each in counted.items() if each.all_words > ALL_AT_MOST[page]} == {}
