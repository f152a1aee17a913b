"""What a user waits for, in Chromium: pages of the scale book, and the preview while typing.

Everything that the browser asks for is asked once more, recorded, and served by a bare application
beside the book; both are opened in turns. So a ratio says what is ours, and the time itself what
the user waits, Chromium's own work included.
"""

from functools import partial
from itertools import count
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page, Request, sync_playwright

from tests.benchmarks.bare import Answer, Answers, Connection, bare_server, connected
from tests.benchmarks.bench_pages import list_pages
from tests.benchmarks.bench_pictures import bare_figure
from tests.benchmarks.books import LARGE, book_of
from tests.benchmarks.measuring import Row, compare, say_time, time_in_turns
from tests.browser.conftest import CHROMIUM, QUIET
from tests.faults.servers import Server

SHOWN = ("bench list", "look-up", "job", "piece with 24 reading sets", "return card, preview")
WORDS_LIMIT_S, PICTURE_LIMIT = 0.060, 1.5
TIMES = 9
CELL = "[data-grid] [name=line]"

# Gives the seconds from the start of a navigation to what the user sees of it.
SEEN = """async () => {
  const shown = [...document.images].filter((image) => {
    const { top, bottom } = image.getBoundingClientRect();
    // what is folded away has a place too, and is never loaded
    return image.checkVisibility() && bottom > 0 && top < innerHeight;
  });
  await Promise.all(shown.map((image) => image.decode()));
  const page = performance.getEntriesByType("navigation")[0];
  const pictures = performance.getEntriesByType("resource")
    .filter((one) => one.initiatorType === "img").map((one) => one.responseEnd);
  const stands = page.domContentLoadedEventEnd;
  const seen = { "first answer": page.responseStart / 1e3, "page stands": stands / 1e3 };
  if (shown.length) seen["pictures stand"] = Math.max(stands, ...pictures) / 1e3;
  return seen;
}"""

# Types one character as a user would and waits for what follows it: the preview's words, then its
# picture. The cell's text is set at once; what the script does from the event on is all real.
TYPE = """async ([selector, text]) => {
  const cell = document.querySelector(selector), preview = document.querySelector("[data-preview]");
  cell.value = text;
  const began = performance.now();
  const changed = new Promise((done) => {
    const watch = new MutationObserver(() => { watch.disconnect(); done(performance.now()); });
    watch.observe(preview, { childList: true, subtree: true });
  });
  cell.dispatchEvent(new Event("input", { bubbles: true }));
  const words = await changed;
  const picture = preview.querySelector("img");
  if (!picture) throw new Error("the preview has no picture");
  await picture.decode();
  return { words: (words - began) / 1e3, picture: (performance.now() - began) / 1e3 };
}"""


def run() -> list[Row]:
    """Time pages and typing in one browser, ours and bare in turns."""
    with (
        Server(book_of(LARGE)) as server,
        connected(server) as connection,
        sync_playwright() as playwright,
    ):
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        pages = list_pages(server)
        grid = f"{pages['job']}/readings?role=at_the_bench"
        ours = open_page(chromium, server)
        answers = record(ours, connection, [*(pages[name] for name in SHOWN), grid])
        with bare_server(answers) as other:
            bare = open_page(chromium, other)
            rows = [row for name in SHOWN for row in time_visits(name, pages[name], ours, bare)]
            rows += time_typing(grid, ours, bare)
        chromium.close()
    return rows


def open_page(chromium: Browser, server: Server) -> Page:
    """Open a window of its own on a server."""
    address = f"http://127.0.0.1:{server.port}"
    return chromium.new_context(
        base_url=address, viewport={"width": 1280, "height": 900}
    ).new_page()


def record(page: Page, connection: Connection, addresses: list[str]) -> Answers:
    """Visit every page and type once; ask again for all that was asked, and keep the answers."""
    asked: list[Request] = []
    page.on("request", lambda request: asked.append(request))
    for address in addresses:
        visit(page, address)
    type_line(page, addresses[-1], 0)
    answers: Answers = {}
    for request in list(asked):
        where = urlsplit(request.url)
        address = f"{where.path}?{where.query}" if where.query else where.path
        form, told = request.post_data_buffer, {}
        if form is not None:
            told = {"Content_Type": request.headers["content-type"]}
        answers[address] = connection.record(address, form, **told)
    # The picture of what is typed is drawn each time, on either side; it was asked for last.
    drawn = [address for address in answers if address.startswith("/pictures/")]
    headers = [(b"content-type", b"image/svg+xml"), (b"cache-control", b"no-store")]
    answers[drawn[-1]] = Answer(200, headers, bare_figure())
    return answers


def visit(page: Page, address: str) -> dict[str, float]:
    """Open a page; gives the seconds until each moment."""
    page.goto(address)
    return dict(page.evaluate(SEEN))


def type_line(page: Page, grid: str, turn: int) -> dict[str, float]:
    """Type into a grid opened anew; gives the seconds until the words and until the picture."""
    page.goto(grid)
    typed = f"{33.5 + turn % 5 / 2:g} 21 11.5 5.5 / 1.{turn % 90 + 5:02d}"
    return dict(page.evaluate(TYPE, [CELL, typed]))


def time_visits(name: str, address: str, ours: Page, bare: Page) -> list[Row]:
    """Time one page's moments."""
    took = time_in_turns(
        {"ours": partial(visit, ours, address), "bare": partial(visit, bare, address)}, times=TIMES
    )
    moments = [key.partition(": ")[2] for key in took if key.startswith("ours")]
    return [
        compare(
            f"in Chromium, {name}: {moment}", "the same bytes, bare",
            took[f"ours: {moment}"], took[f"bare: {moment}"],
        )
        for moment in moments
    ]  # fmt: skip


def time_typing(grid: str, ours: Page, bare: Page) -> list[Row]:
    """Time the preview: words against an empty-handed answer, the picture against a bare Figure."""
    turns = count(1)
    took = time_in_turns(
        {
            "ours": lambda: type_line(ours, grid, next(turns)),
            "bare": lambda: type_line(bare, grid, next(turns)),
        },
        times=TIMES,
    )
    words, bare_words = min(took["ours: words"]), min(took["bare: words"])
    return [
        compare("in Chromium, from a typed digit to the words", "the same bytes, bare",
                took["ours: words"], took["bare: words"]),
        Row("– more than bare", "60 ms", say_time(words - bare_words), say_time(WORDS_LIMIT_S),
            (words - bare_words) / WORDS_LIMIT_S, 1.0),
        compare("in Chromium, from a typed digit to the picture", "a bare Figure, bare",
                took["ours: picture"], took["bare: picture"], PICTURE_LIMIT),
    ]  # fmt: skip
