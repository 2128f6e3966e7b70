"""Photos on the timeline: a mark at its hour that leads to the photo, and no mark where there is none."""

from __future__ import annotations

from app.charts.photo_marks import PhotoMark
from app.charts.theme import Figure
from tests.charts.tale import draw, named
from tests.judgement.story import at

MARK = PhotoMark(at(40), "/facts/f-1/photos", "Photo: grey <fluff>. By the wall", 1)


def drawn(*marks: PhotoMark) -> Figure:
    return draw(photos=marks)


def test_a_photo_stands_at_its_hour_and_carries_its_address() -> None:
    trace = named(drawn(MARK), "photos")
    assert trace["x"] == [40]
    assert trace["customdata"] == ["/facts/f-1/photos"]


def test_its_words_hold_no_markup_of_their_own_and_say_how_many_there_are() -> None:
    trace = named(drawn(MARK, MARK._replace(how_many=3)), "photos")
    one, three = trace["hovertext"]
    assert one.startswith("Photo: grey &lt;fluff&gt;. By the wall<br>hour 40.0 · ")
    assert "photos" not in one
    assert "3 photos" in three


def test_the_caption_speaks_of_photos_only_where_there_is_one() -> None:
    assert "photo" in drawn(MARK)["layout"]["meta"]["caption"]
    assert "photo" not in drawn()["layout"]["meta"]["caption"]


def test_without_photos_the_figure_is_as_it_was() -> None:
    assert not [trace for trace in draw()["data"] if trace.get("name") == "photos"]
