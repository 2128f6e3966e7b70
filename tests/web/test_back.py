"""A page that answers a form names the address by which it is had again."""

import pytest
from flask import Flask
from werkzeug.routing import Map, Rule

from app.web.back import own_address


@pytest.fixture
def urls():
    rules = [
        Rule("/lots/new", methods=["GET", "POST"]),
        Rule("/batches/<number>", methods=["GET"]),
        Rule("/batches/<number>/entries", methods=["POST"]),
    ]
    return Map(rules).bind("house")


@pytest.mark.parametrize(
    ("sent_to", "sent_from", "address"),
    [
        ("/lots/new?way=out", "http://house/lots", "/lots/new?way=out"),
        ("/batches/7/entries", "http://house/batches/7?open=kiln", "/batches/7?open=kiln"),
        ("/batches/7/entries", "http://elsewhere/batches/7", "/"),
        ("/batches/7/entries", "http://house/batches/7/entries", "/"),
        ("/batches/7/entries", "", "/"),
    ],
)
def test_the_address_is_that_of_a_page_and_never_of_another_site(urls, sent_to, sent_from, address):
    with Flask("house").test_request_context(f"http://house{sent_to}", method="POST", headers={"Referer": sent_from}):
        assert own_address(urls) == address
