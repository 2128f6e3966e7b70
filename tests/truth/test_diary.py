"""The developer's diary of a simulated batch stays alive: it writes through the real program, and reads its pages."""

from __future__ import annotations

from pathlib import Path

from tests.truth.diary import diary
from tests.truth.run import batch


def test_a_diary_says_what_stands_on_the_pages_beside_what_was_so(tmp_path: Path) -> None:
    pages = []
    for page in diary(batch(0, "wheat", "kitchen", "newcomer"), tmp_path):
        pages.append(page)
        if len(pages) == 40:
            break
    assert {page.name for page in pages} == {"entry", "tub", "home", "sleep"}
    said = " ".join(line for page in pages for line in page.lines)
    assert "wrote steep_on" in said
    assert "Take the water’s temperature" in said
    assert "How long can I sleep?" in said
    # No markup, no tile, no entry form is read.
    assert not any(each in said for each in ("<", "csrf", "Everything one can record"))
    assert all("immersion" in page.truth or "charged" in page.truth or "air_rest" in page.truth for page in pages)
