"""plotly.js as it is served: the package's own script, packed once, under a path that names its content."""

import gzip
import re
from importlib import resources
from pathlib import Path

import brotli
import pytest
from flask import Flask, render_template_string

from app.config import Settings
from app.web.assets import plotly_script, static_files

ORIGINAL = resources.files("plotly").joinpath("package_data", "plotly.min.js").read_bytes()
UNPACK = {"gzip": gzip.decompress, "br": brotli.decompress, "identity": bytes}


@pytest.fixture(autouse=True)
def nothing_remembered():
    plotly_script._encoded.cache_clear()
    yield
    plotly_script._encoded.cache_clear()


def serving(folder: Path) -> Flask:
    app = Flask(
        "served", static_folder=None, template_folder=str(Path(plotly_script.__file__).parents[1] / "templates")
    )
    settings = Settings(data_dir=folder)
    for part in (static_files, plotly_script):
        part.init_app(app, settings)
    return app


def url(app: Flask) -> str:
    with app.test_request_context():
        return render_template_string("{{ plotly_url() }}")


def fetch(app: Flask, encoding: str):
    return app.test_client().get(url(app), headers={"Accept-Encoding": encoding})


@pytest.mark.parametrize(("asked", "given"), [("gzip, deflate, br", "br"), ("gzip", "gzip"), ("identity", "identity")])
def test_the_script_comes_packed_as_the_browser_can_read_it(tmp_path, asked, given):
    answer = fetch(serving(tmp_path), asked)
    assert answer.status_code == 200
    assert answer.mimetype == "text/javascript"
    assert answer.headers.get("Content-Encoding", "identity") == given
    assert UNPACK[given](answer.data) == ORIGINAL
    assert "Accept-Encoding" in answer.headers["Vary"]


def test_packed_it_is_less_than_a_third(tmp_path):
    assert len(fetch(serving(tmp_path), "br").data) < len(ORIGINAL) / 3


def test_browsers_keep_it_for_ever(tmp_path):
    answer = fetch(serving(tmp_path), "br")
    assert answer.headers["Cache-Control"] == "public, max-age=31536000, immutable"


def test_its_path_names_its_version_and_content_and_no_other_is_answered(tmp_path):
    app = serving(tmp_path)
    path = url(app)
    assert re.fullmatch(r"/plotly/plotly-\d+\.\d+[\w.]*-[0-9a-f]{12}\.js", path)
    assert app.test_client().get(path.replace(path[-9:-3], "000000")).status_code == 404


def test_it_is_packed_once_and_read_from_the_folder_after(tmp_path):
    first = fetch(serving(tmp_path), "br").data
    (kept,) = (tmp_path / "cache").iterdir()
    assert kept.read_bytes() == first
    kept.write_bytes(brotli.compress(b"read from the folder"))
    plotly_script._encoded.cache_clear()
    assert brotli.decompress(fetch(serving(tmp_path), "br").data) == b"read from the folder"


def test_what_older_versions_left_is_taken_away(tmp_path):
    old = tmp_path / "cache" / "plotly-5.0.0-0123456789ab.js.br"
    old.parent.mkdir()
    old.write_bytes(b"old")
    fetch(serving(tmp_path), "br")
    assert [file.suffix for file in old.parent.iterdir()] == [".br"]
    assert not old.exists()


def test_a_folder_that_cannot_be_written_is_no_hindrance(tmp_path):
    (tmp_path / "cache").write_text("a file where the folder would be")
    assert brotli.decompress(fetch(serving(tmp_path), "br").data) == ORIGINAL


def test_the_head_of_a_chart_page_holds_every_sheet_that_the_script_looks_for(tmp_path):
    app = serving(tmp_path)
    with app.test_request_context():
        page = render_template_string(
            '{% from "_macros/charts.html" import chart_head with context %}{{ chart_head() }}'
        )
    ids = re.findall(r'<link rel="stylesheet" id="([^"]+)"', page)
    assert ids[0] == "plotly.js-style-global"
    # Where the script makes a <style> of its own, it first looks for the id; each must be among ours.
    made = re.findall(rb'getElementById\("([0-9a-f]{64})"\)\)\{var \w+=document\.createElement\("style"\)', ORIGINAL)
    assert {each.decode() for each in made} == set(ids[1:])
    assert len(ids) == 2
