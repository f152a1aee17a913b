"""Every address with anything in its places and its query: words, nothing broken or changed."""

import shutil
import string
from urllib.parse import quote, urlencode

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from app.web.app import create_app
from app.web.settings import Settings
from tests.books import HEADERS, hash_of
from tests.conftest import Clock
from tests.faults.asking import asking
from tests.faults.test_forms import NASTY
from tests.web.routes import routes_of

# What stands in queries: the service's own names, words, lines and lone signs.
ANYTHING = st.one_of(
    st.sampled_from(NASTY),
    st.sampled_from(("1", "2", "return_card", "intake_slip", "page-1.svgz", "paper.pdf")),
    st.text(max_size=30),
    st.text(string.digits + " .,/+-", max_size=20),
)
NAMES = st.sampled_from(
    ("q", "left", "right", "tip", "line", "role", "page", "said", "customer", "piece", "blades",
     "before", "after", "family", "width", "kind", "scale", "target", "v", "names")
)  # fmt: skip


@pytest.fixture(scope="module")
def client(whole_book, tmp_path_factory):
    book = tmp_path_factory.mktemp("addresses") / "book"
    shutil.copytree(whole_book, book)
    app = create_app(Settings(book=book, now=Clock()))
    with TestClient(
        app, base_url="http://127.0.0.1", headers=HEADERS, raise_server_exceptions=False
    ) as made:
        yield made


def fill(path: str, places: list[str]) -> str:
    """Put texts into an address's places, in their order."""
    parts = []
    for part in path.split("/"):
        is_place = part.startswith("{") and places
        parts.append(quote(places.pop(0), safe="") if is_place else part)
    return "/".join(parts)


def test_every_address_with_anything_in_it_is_answered_in_words(client):
    database = client.app.state.settings.book / "book.sqlite3"
    before = hash_of(database)
    routes = [one for one in routes_of(client.app) if "GET" in (one.methods or set())]
    assert len(routes) > 50
    codes: set[int] = set()
    for route in routes:

        @asking(6)
        @given(st.lists(ANYTHING, min_size=4, max_size=4), st.dictionaries(NAMES, ANYTHING))
        def ask(places, query):
            texts = [one.encode("utf-8", "replace").decode() for one in places]
            address = fill(route.path, texts)  # noqa: B023 - run at once
            told = {name: one.encode("utf-8", "replace") for name, one in query.items()}
            answer = client.get(f"{address}?{urlencode(told)}", follow_redirects=False)
            assert answer.status_code < 500, (address, query, answer.text[:800])
            assert "Traceback" not in answer.text
            codes.add(answer.status_code)

        ask()
    assert {200, 404} <= codes
    assert hash_of(database) == before
