"""plotly.js as its Python package carries it: compressed once for each version, and kept by browsers for ever."""

import gzip
import hashlib
import os
import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib import metadata, resources
from pathlib import Path

import brotli
from flask import Flask, Response, abort, request

from app.config import Settings
from app.web.assets.static_files import FOR_EVER

# plotly.js fills a sheet of this id with its own rules, and makes a <style> of it where there is none.
GLOBAL_STYLE_ID = "plotly.js-style-global"
# The maps' style sheet is looked for, and made, by an id that differs between versions.
_MAP_STYLE_ID = re.compile(rb'getElementById\("([0-9a-f]{64})"\)')
_ENCODERS: dict[str, Callable[[bytes], bytes]] = {
    "br": partial(brotli.compress, quality=9),
    "gzip": partial(gzip.compress, compresslevel=9, mtime=0),
}


@dataclass(frozen=True)
class PlotlyScript:
    """The script of the installed version. style_ids: the sheets that it must find under a strict content policy."""

    content: bytes
    file_name: str
    style_ids: tuple[str, ...]


@cache
def plotly_script() -> PlotlyScript:
    content = resources.files("plotly").joinpath("package_data", "plotly.min.js").read_bytes()
    digest = hashlib.sha256(content).hexdigest()[:12]
    maps = dict.fromkeys(style.decode() for style in _MAP_STYLE_ID.findall(content))
    return PlotlyScript(content, f"plotly-{metadata.version('plotly')}-{digest}.js", (GLOBAL_STYLE_ID, *maps))


def init_app(app: Flask, settings: Settings) -> None:
    """One route, and for templates plotly_url() and plotly_style_ids()."""
    folder = settings.data_dir / "cache"

    @app.get("/plotly/<name>")
    def plotly(name: str) -> Response:
        script = plotly_script()
        if name != script.file_name:
            abort(404)
        encoding = request.accept_encodings.best_match([*_ENCODERS, "identity"], "identity")
        response = Response(_encoded(encoding, folder), mimetype="text/javascript")
        response.headers["Cache-Control"] = FOR_EVER
        response.headers["Vary"] = "Accept-Encoding"
        response.headers["Content-Encoding"] = encoding
        return response

    app.add_template_global(lambda: f"/plotly/{plotly_script().file_name}", "plotly_url")
    app.add_template_global(lambda: plotly_script().style_ids, "plotly_style_ids")


@cache
def _encoded(encoding: str, folder: Path) -> bytes:
    """The script in that encoding: from the folder, or made now and put there for the next start."""
    script = plotly_script()
    if encoding not in _ENCODERS:
        return script.content
    kept = folder / f"{script.file_name}.{encoding}"
    try:
        return kept.read_bytes()
    except OSError:
        packed = _ENCODERS[encoding](script.content)
        _keep(kept, packed)
        return packed


def _keep(kept: Path, packed: bytes) -> None:
    """Written whole or not at all; other versions go. A folder that can't be written costs only the time of packing."""
    try:
        kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        for old in kept.parent.glob(f"plotly-*{kept.suffix}"):
            old.unlink()
        handle, name = tempfile.mkstemp(dir=kept.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(packed)
        os.replace(name, kept)
    except OSError:
        return
