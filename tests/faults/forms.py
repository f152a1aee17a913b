"""Finds every form of the program by following its own links, as somebody at the bench would."""

import re
from dataclasses import dataclass

from bs4 import BeautifulSoup, Tag
from fastapi.testclient import TestClient

MOST_PAGES = 400


@dataclass(frozen=True)
class Place:
    """A form: the page it stands on, where it goes, and what it holds."""

    page: str
    action: str
    fields: tuple[tuple[str, str, str], ...]

    @property
    def kind(self) -> str:
        """Name the form whatever record it stands on."""
        return re.sub(r"\d+", "N", self.action)


def links_of(page: BeautifulSoup) -> list[str]:
    """List where a page leads to, within the program."""
    found = []
    for link in page.select("a[href], img[src], link[href]"):
        address = str(link.get("href") or link.get("src")).partition("#")[0]
        if address.startswith("/") and not address.startswith("//"):
            found.append(address)
    return found


def fields_of(form: Tag) -> tuple[tuple[str, str, str], ...]:
    """List a form's fields: name, kind, and the value it holds."""
    fields = []
    for one in form.select("input[name], select[name], textarea[name], button[name]"):
        kind = one.name if one.name != "input" else one.get("type", "text")
        value = one.get("value", "") if one.name != "textarea" else one.text
        if one.name == "select":
            chosen = one.select_one("option[selected]") or one.select_one("option")
            value = chosen.get("value", chosen.text) if chosen else ""
        if kind in {"checkbox", "radio"} and not one.has_attr("checked"):
            kind = "unticked"
        fields.append((str(one["name"]), str(kind), str(value)))
    return tuple(fields)


def crawl(client: TestClient) -> tuple[dict[str, BeautifulSoup], list[Place]]:
    """Follow every link once; gives the pages, and one of each kind of form."""
    waiting, seen = ["/"], {"/"}
    pages: dict[str, BeautifulSoup] = {}
    places: dict[str, Place] = {}
    while waiting and len(pages) < MOST_PAGES:
        address = waiting.pop(0)
        answer = client.get(address)
        assert answer.status_code < 500, address
        if "text/html" not in answer.headers["content-type"]:
            continue
        page = BeautifulSoup(answer.text, "html.parser")
        pages[address] = page
        for form in page.select("form"):
            if str(form.get("method", "get")).lower() != "post":
                continue
            here = str(form.get("action") or address.partition("?")[0])
            others = [str(one["formaction"]) for one in form.select("button[formaction]")]
            for action in (here, *others):
                place = Place(address, action, fields_of(form))
                places.setdefault(place.kind, place)
        for link in links_of(page):
            # One of each kind of page is enough; ids above two only repeat what was seen.
            if link not in seen and not re.search(r"/(?:[3-9]|\d\d+)(?:/|$|\?)", link):
                seen.add(link)
                waiting.append(link)
    return pages, list(places.values())
