"""Books to test with: one with something in every corner, and a book's content as values."""

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

from fastapi.testclient import TestClient
from sqlalchemy import URL, create_engine, inspect

from app.store.postgresql.addresses import find_address
from app.web.app import create_app
from app.web.settings import Settings
from tests.conftest import Browser, Clock
from tests.lines import OPEN_LINE, RECEIVED_LINE, RETURNED_LINE
from tests.photo_cases import photo

HEADERS = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}
# Names as the program gives them, and as it gave them until November 2026.
FIRST, SECOND, THIRD = f"{'1f' * 32}.jpg", "20261125-0123456789abcdef.jpg", f"{'3f' * 32}.jpg"
PHOTO = b"\x89PNG an invented picture of a tip rail"


def fill_book(folder: Path) -> None:
    """Do two jobs through the pages: everything the program writes is written once at least."""
    app = create_app(Settings(book=folder, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        for name, marking in (("Ottilie Wiesenrauch", "N4"), ("Jörg Łuckenwirbel", "5*")):
            _do_job(browser, name, marking)
        browser.open("/settings")
        browser.send("main form", name="The bench at the mill", address="Mill Lane 3\nUnternirgend")
        mark = {"file": ("mark.jpg", photo(), "image/jpeg")}
        assert client.post("/settings/mark", data={"do": "keep"}, files=mark).status_code == 200
    photos = folder / "photos"
    photos.mkdir()
    (photos / FIRST).write_bytes(PHOTO)
    (photos / SECOND).write_bytes(PHOTO[::-1])


def _do_job(browser: Browser, name: str, marking: str) -> None:
    browser.open("/drop-off")
    browser.send(
        "main form", do="take_in", customer="new", customer_name=name,
        customer_phone="01632 960123", customer_address="Ahornweg 2\nNirgendheim", piece="new",
        piece_maker="Kestrel Row", piece_marking=marking, instrument_kind="clarinet_bb",
        request=f"stuffy, says {name}", condition=["bite marks on the beak"], came_with=["cap"],
        declared_value="120",
    )  # fmt: skip
    job = browser.path
    for role, line in (("as_received", RECEIVED_LINE),
                       ("as_returned", RETURNED_LINE)):  # fmt: skip
        browser.open(f"{job}/readings?role={role}")
        browser.send("form[data-grid]", line=line)
        browser.open(job)
        browser.send("form[action$=passes]", kind="tilted", abrasive="wet paper", grit="600")
    browser.open(f"{job}/edit")
    browser.send("main form", agreed_work="open it a little", agreed_price="85.50")
    browser.open(f"{job}/papers/return_card")
    browser.send("main form")
    browser.open(job)
    first = browser.page.select("#readings tbody a")[0]["href"]
    browser.open(f"{first}/correct")
    browser.send("form[data-grid]", tip="1.03", why="misread the wedge")
    browser.open(job)
    browser.send("form[action$=notes]", note="Played it in the yard.")


def fill_whole_book(folder: Path) -> None:
    """Fill a book and go on: what the shop makes, sells, is paid, photographs, checks and draws."""
    fill_kept_book(folder)
    app = create_app(Settings(book=folder, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        browser.open("/jobs/1/photos")
        typed = {"token": browser.page.select_one("[name=token]")["value"], "view": "tip",
                 "moment": "drop_off", "caption": "chip at the left"}  # fmt: skip
        files = [("files", ("tip.jpg", photo(), "image/jpeg"))]
        assert client.post("/jobs/1/photos", data=typed, files=files).status_code == 200
        browser.open("/jobs/2/readings?role=at_the_bench")
        browser.send("form[data-grid]", line="34.5 22.5 12.5 6.5 / 1.08", do="check")


def fill_kept_book(folder: Path) -> None:
    """Fill a book with all that its database alone holds: what a kept book of a schema has."""
    fill_book(folder)
    app = create_app(Settings(book=folder, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        _make_batch(browser)
        _settle_job(browser)
        _write_beside(browser)
        _see_to_gauges(browser)
        _take_in_box(browser)
        _settle_box(browser)
        _sell_piece(browser)


def _make_batch(browser: Browser) -> None:
    browser.open("/facings/new")
    browser.send(
        "main form", name="Shop five", told_by="readings", line=OPEN_LINE,
        position_tolerance="0.5", tip_tolerance="0.02", instrument_kind="clarinet_bb",
    )  # fmt: skip
    browser.open(browser.page.select_one("a[href^='/batches/new']")["href"])
    browser.send("main form", name="Spring run", count="4", marking="M5-##")
    batch = browser.path
    for line in (
        OPEN_LINE,
        "35.5 21.5/23.5 13.5 6.5 / 1.18",
        "35.5 24.5 13.5 6.5 / 1.14",
    ):
        browser.open(batch)
        browser.open(browser.page.select_one(".head a.do")["href"])
        browser.send("form[data-grid]", line=line)
    browser.open(batch)
    browser.send("form[action$='/leave']", do="leave")
    browser.open(f"{batch}/edit")
    browser.send("main form", note="the second half after the new jig")


def _settle_job(browser: Browser) -> None:
    browser.open("/jobs/1/target")
    shop_five = browser.page.select_one("[name=target]")["value"]
    browser.send("main form", target=shop_five)
    browser.open("/jobs/1/charges")
    browser.send("form[action$='/charges']", charge_label="refacing", charge_amount="79.90")
    browser.send("form[action$='/charges']", charge_label="for waiting", charge_amount="5",
                 charge_kind="discount")  # fmt: skip
    browser.send("form[action$='/payments']", payment_amount="20", payment_kind="deposit")
    browser.open("/settings/messages")
    browser.send("main form")


def _write_beside(browser: Browser) -> None:
    browser.open("/jobs/1/edit")
    browser.send("main form", complaint=["stuffy"], risk=["crack: may run on"])
    browser.open("/jobs/1/memos")
    name = browser.page.select_one("[name^=outcome-]")["name"]
    browser.send("form[action$=outcomes]", **{name: "better"}, finding=["rails uneven"])
    browser.send("form[action$='/play_test']", play_test_who="Ottilie", play_test_said="freer")
    browser.send("form[action$='/parcel']", parcel_way="out", parcel_number="QX 5")
    browser.open("/jobs/1/messages")
    browser.send("section form", message_by="mail")
    browser.open("/batches/1")
    browser.send("form[action$=prices]", **{"price-4": "145"})
    browser.open("/pieces/4/memos")
    browser.send("form[action$='/trial']", trial_to="2", trial_due="2026-12-05")
    browser.open("/stock")
    browser.send("main form", name="blanks", count="4", warn_at="5")


def _take_in_box(browser: Browser) -> None:
    browser.open("/settings/prices")
    browser.send("main form", label_new0="new cork", price_new0="18.70", label_new1="new cork",
                 family_new1="saxophones", price_new1="21.30")  # fmt: skip
    browser.open("/drop-off")
    browser.send("main form", do="more")
    browser.send(
        "main form", do="take_in", customer="1", here="expected", expected_on="2026-11-27",
        piece_maker="Kestrel Row", piece_model="Nightjar", piece_marking="S1",
        piece_telling_marks="a nick at the left", piece2_maker="Kestrel Row",
        piece2_model="Nightjar", piece2_marking="S1", piece2_asked="squeaks", service=["new cork"],
        deposit="10", played_with="2½ reed", complaint=["squeaks"], risk=["crack: may run on"],
        instrument="new", instrument_kind="clarinet_bb", instrument_maker="Kestrel Row",
    )  # fmt: skip
    number = int(browser.path.rsplit("/", 1)[1])
    browser.open(f"/jobs/{number}/memos")
    browser.send("form[action$='/parcel']", parcel_way="in", parcel_carrier="the mail boat",
                 parcel_declared="240", parcel_contents="two mouthpieces", parcel_worth="240",
                 parcel_origin="Nirgendheim", parcel_due="2026-11-28")  # fmt: skip
    browser.send("#parcel form[action$=done]")


def _settle_box(browser: Browser) -> None:
    browser.open("/jobs/3")
    browser.send("form[action$=works]", work_kind="polish", work_price="12.50")
    browser.open("/jobs/3/charges")
    for answer in ("declined", "accepted"):
        browser.send("form[action$=quotes]", good_until="2026-12-24")
        browser.send("form[action*='quotes/']", answer=answer, answered_by="message")
    browser.open("/jobs/4/memos")
    for moment, seconds in (("before", "3"), ("after", "11.5")):
        browser.send("form[action$='/seal']", seal_moment=moment, seal_seconds=seconds)
    browser.send("form[action$='/warranty']", warranty_due="2027-11-25",
                 warranty_covers="the cork")  # fmt: skip
    browser.send("form[action$='/away']", away_where="workshop", away_whom="the plater",
                 away_due="2026-12-05")  # fmt: skip
    for due in ("2026-12-20", "2027-02-01"):
        browser.send("form[action$='/asking']", asking_due=due, asking_what="the low notes")
    name = browser.page.select_one("[name^=answer-]")["name"]
    browser.send("#asking form[action$=done]", **{name: "still loves it"})
    browser.open("/comparisons?of=1&with=3")


def _sell_piece(browser: Browser) -> None:
    browser.open("/pieces/5/memos")
    browser.send("form[action$='/sale']", sale_to="2", sale_price="145")
    browser.open("/jobs/4")  # the twin was no other piece
    browser.send("form.with-button", stage="returned_unworked")
    browser.open("/pieces/7/join")
    browser.send("main form[method=post]", other="8")


def _see_to_gauges(browser: Browser) -> None:
    for kind, label in (("dial", "dial on the stand"), ("calliper", "calliper")):
        browser.open(f"/gauges/new/{kind}")
        browser.send("main form", label=label, scale="length_mm", resolution="0.01")
        browser.send("form[action$='/checks']", mark="0.5", actual="0.51", unit="length_mm",
                     checked_on="2026-11-01")  # fmt: skip
    browser.open("/gauges/1/studies/new?pieces=2&turns=3")
    cells = [one["name"] for one in browser.page.select("[data-cell]")]
    browser.send("form[data-grid]", **dict(zip(cells, ("36", "30", "36.5", "30", "36", "30.5"),
                                               strict=True)))  # fmt: skip
    browser.send("main form")
    browser.open("/gauges/1")
    browser.send("form[action$='/checks']", mark="36", actual="18.02", unit="length_mm",
                 checked_on="2026-11-01")  # fmt: skip


def content_of(database: Path) -> dict[str, list[tuple]]:
    """Give every row of every table, read through SQLite, or from the server that has the book."""
    if address := find_address(database.parent):
        return _content_on_server(address)
    with closing(sqlite3.connect(database)) as connection:
        names = [
            row[0]
            for row in connection.execute(
                "SELECT name FROM sqlite_master WHERE type='table' ORDER BY name"
            )
        ]
        return {
            name: sorted(connection.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)  # noqa: S608
            for name in names
        }


def _content_on_server(address: URL) -> dict[str, list[tuple]]:
    engine = create_engine(address)
    try:
        with engine.connect() as connection:
            return {
                name: sorted(
                    map(tuple, connection.exec_driver_sql(f'SELECT * FROM "{name}"')),  # noqa: S608
                    key=repr,
                )
                for name in sorted(inspect(connection).get_table_names())
            }
    finally:
        engine.dispose()


def hash_of(database: Path, but: tuple[str, ...] = ()) -> str:
    """Give one hash of everything in a book, but for some tables."""
    content = {name: rows for name, rows in content_of(database).items() if name not in but}
    return hashlib.sha256(repr(content).encode()).hexdigest()


def rows_of(database: Path, query: str, *values: object) -> list[tuple]:
    """Ask a book's database, whoever has it open."""
    if address := find_address(database.parent):
        asked = query.replace("%", "%%").replace("?", "%s")
        engine = create_engine(address)
        try:
            with engine.begin() as connection:
                found = connection.exec_driver_sql(asked, values)
                return list(map(tuple, found)) if found.returns_rows else []
        finally:
            engine.dispose()
    with closing(sqlite3.connect(database, timeout=30)) as connection:
        return connection.execute(query, values).fetchall()
