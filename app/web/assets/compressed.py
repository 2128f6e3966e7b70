"""Compressing once what never changes: as small as it gets, kept in memory."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from functools import lru_cache, partial

import brotli
from flask import Response, request

ENCODERS: dict[str, Callable[[bytes], bytes]] = {
    "br": partial(brotli.compress, quality=11),
    "gzip": partial(gzip.compress, compresslevel=9, mtime=0),
}
FOR_EVER = "public, max-age=31536000, immutable"


@lru_cache(maxsize=256)
def _packed(content: bytes, encoding: str) -> bytes:
    return ENCODERS[encoding](content)


def unchanging(content: bytes, mimetype: str) -> Response:
    """The answer for a content whose address names it: compressed for who understands that, kept for ever."""
    encoding = request.accept_encodings.best_match([*ENCODERS, "identity"], "identity")
    is_worth_it = encoding in ENCODERS and len(content) > 400 and not mimetype.startswith("image/png")
    response = Response(_packed(content, encoding) if is_worth_it else content, mimetype=mimetype)
    if is_worth_it:
        response.headers["Content-Encoding"] = encoding
    response.headers["Vary"] = "Accept-Encoding"
    response.headers["Cache-Control"] = FOR_EVER
    return response
