"""Pictures over a kept connection, beside a bare application that draws a bare `Figure`.

Ours begins at the readings: it fits, chooses a curve, lays the picture out so that nothing covers
anything, and answers.
"""

from functools import cache
from itertools import count

from fastapi.testclient import TestClient

from app.web.app import create_app
from app.web.settings import Settings, wall_clock
from tests.benchmarks.bare import Answer, bare_server, connected
from tests.benchmarks.books import SMALL, book_of
from tests.benchmarks.figure import BareFigure, take_down
from tests.benchmarks.measuring import Row, compare, time_in_turns
from tests.faults.servers import Server

ANEW_LIMIT, AGAIN_LIMIT = 1.2, 2.5
PICTURE = "/readings/{}/profile.svg"


@cache
def bare_figure() -> BareFigure:
    """Take one picture of the small book down, drawn in this process."""
    app = create_app(Settings(book=book_of(SMALL), now=wall_clock))
    client = TestClient(
        app, base_url="http://127.0.0.1"
    )  # not entered: the book isn't closed twice
    try:
        return take_down(lambda: client.get(PICTURE.format(1)))
    finally:
        app.state.sessions.close()


def run() -> list[Row]:
    """Time a picture never drawn before, one drawn before, and one that the browser has."""
    kept, sets = PICTURE.format(1), count(2)
    figure = Answer(200, [(b"content-type", b"image/svg+xml")], bare_figure())
    with Server(book_of(SMALL)) as server, connected(server) as ours:
        drawn = ours.record(kept)
        tag = dict(drawn.headers)[b"etag"].decode()
        has = ours.record(kept, If_None_Match=tag)
        with (
            bare_server({"/figure": figure, "/kept": drawn, "/has": has}) as other,
            connected(other) as bare,
        ):
            anew = time_in_turns(
                {
                    "ours": lambda: ours.fetch(PICTURE.format(next(sets))),
                    "bare": lambda: bare.fetch("/figure"),
                },
                times=9,
            )
            again = time_in_turns(
                {
                    "kept": lambda: ours.fetch(kept),
                    "kept bare": lambda: bare.fetch("/kept"),
                    "has": lambda: ours.fetch(kept, If_None_Match=tag),
                    "has bare": lambda: bare.fetch("/has"),
                }
            )
    return [
        compare("picture, drawn anew", "a bare Figure", anew["ours"], anew["bare"], ANEW_LIMIT),
        compare("picture, drawn before", "the same bytes, bare", again["kept"],
                again["kept bare"], AGAIN_LIMIT),
        compare("picture, the browser has it", "the same bytes, bare", again["has"],
                again["has bare"], AGAIN_LIMIT),
    ]  # fmt: skip
