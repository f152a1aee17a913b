"""Photographs of a piece: when they were taken and what they show."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol, TypeVar

from app.core.values.forms import Fields, Refused

MOMENTS: dict[str, str] = {
    "drop_off": "at drop-off",
    "bench": "at the bench",
    "return": "at return",
}
VIEWS: dict[str, str] = {
    "tip": "tip",
    "table": "table",
    "window": "window",
    "chips": "chips and marks",
    "other": "other",
}
# Which moment a photograph is usually of, by the job's stage.
USUAL_MOMENT: dict[str, str] = {
    "on_the_bench": "bench",
    "play_test": "return",
    "ready": "return",
    "returned": "return",
}


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """What is written beside a photograph."""

    moment: str
    view: str
    caption: str
    on_card: bool


def parse_photo(raw: Mapping[str, str]) -> PhotoEntry | Refused:
    """Read the words beside a photograph, or beside several sent together."""
    fields = Fields(raw)
    entry = PhotoEntry(
        moment=fields.choice("moment", MOMENTS, words="Say when it was taken."),
        view=fields.choice("view", VIEWS, words="Say what it shows."),
        caption=fields.text("caption"),
        on_card=fields.flag("on_card"),
    )
    return fields.refused() or entry


def name_photo(moment: str, view: str, caption: str) -> str:
    """Say what a photograph shows, for its caption and for those who can't see it."""
    return f"{VIEWS[view].capitalize()}, {MOMENTS[moment]}" + (f": {caption}" if caption else "")


class Shown(Protocol):
    """What pairing looks at."""

    @property
    def moment(self) -> str:
        """When it was taken."""

    @property
    def view(self) -> str:
        """What it shows."""


Photo = TypeVar("Photo", bound=Shown)


def pair_photos(photos: Iterable[Photo]) -> list[tuple[str, list[Photo], list[Photo]]]:
    """Put before and after side by side: for each view its label, what came in, what came of it."""
    kept = list(photos)
    pairs = []
    for view, label in VIEWS.items():
        before = [photo for photo in kept if photo.view == view and photo.moment == "drop_off"]
        after = [photo for photo in kept if photo.view == view and photo.moment != "drop_off"]
        if before or after:
            pairs.append((label, before, after))
    return pairs
