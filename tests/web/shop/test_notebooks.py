"""Old records come in by a table: seen row by row, all or nothing, nobody twice."""

import pytest
from sqlalchemy import func, select

from app.core.shop.notebooks import COLUMNS, find_instrument
from app.store.tables import Customer, Piece, Reading, ReadingSet
from tests.lines import CLOSE_LINE

HEADING = "name,phone,instrument,maker,marking,date,measured,readings,note"
ONE = "Ottilie Wiesenrauch,01632 960 001,Bb clarinet,Kestrel Row,N4"
GOOD = f"""{HEADING}
{ONE},2019-05-03,as received,{CLOSE_LINE},
{ONE},2019-05-20,as returned,35.5/34.5 23.5 12.5 6.5 / 1.11 / 0.591,"much, much freer"
Zoë Łukołapkowa,,alto sax,Hollow Lantern,7,3.5.2021,reference,43.5 27.5 19.5 11.5 / 1.87,
Nobody Measured,,tenor saxophone,,star,,,,
"""


def with_semicolons(table):
    return table.replace(",", ";").replace("much; much", "much, much")


def as_windows_writes_it(table):
    return "\ufeff" + table.replace("\n", "\r\n")


@pytest.fixture
def bring(browser, client):
    """Send a table; gives the page."""

    def send(table="", do="look", status=200, file=None):
        browser.open("/notebook")
        data = {"token": browser.page.select_one("[name=token]")["value"], "table": table, "do": do}
        files = {"file": ("old.csv", file, "text/csv")} if file else {"file": ("", b"", "")}
        return browser._keep(client.post("/notebook", data=data, files=files), status)

    return send


def counts(sessions):
    with sessions.read() as session:
        return [
            session.scalar(select(func.count()).select_from(one))
            for one in (Customer, Piece, ReadingSet)
        ]


def test_the_preview_says_row_by_row_what_would_be_kept_and_keeps_nothing(bring, sessions):
    page = bring(GOOD)
    rows = [" ".join(row.text.split()) for row in page.select("section tbody tr")]
    assert len(rows) == 4
    kept = (
        "as returned 20 May 2019: 35.5/34.5 23.5 12.5 6.5 / 1.11; facing length 17.50 mm, tip 1.11"
    )
    assert f"{kept} mm" in rows[1]
    assert "3 May 2021" in rows[2]
    assert "no readings" in rows[3]
    assert counts(sessions) == [0, 0, 0]


@pytest.mark.parametrize("change", [str, with_semicolons, as_windows_writes_it])
def test_all_rows_are_kept_with_each_customer_and_piece_once(bring, sessions, change):
    page = bring(change(GOOD), do="keep")
    assert "new customers 3, new pieces 3, sets of readings 3" in page.text
    assert counts(sessions) == [3, 3, 3]
    with sessions.read() as session:
        kept = session.scalars(select(ReadingSet).where(ReadingSet.role == "as_returned")).one()
        assert (str(kept.taken_on), kept.note) == ("2019-05-20", "much, much freer")
        typed = set(session.scalars(select(Reading.typed).where(Reading.set_id == kept.id)))
        assert {"35.5", "34.5", "1.11", "0.591"} <= typed


def test_bringing_the_same_table_in_again_adds_nothing(bring, sessions):
    bring(GOOD, do="keep")
    page = bring(GOOD)
    assert "already and are left out" in page.text
    bring(GOOD, do="keep")
    assert counts(sessions) == [3, 3, 3]


def test_one_wrong_row_keeps_all_of_them_out_and_every_fault_is_named(bring, sessions, browser):
    bad = GOOD + (
        ",,kazoo,,,2019-05-03,as received,33.5 21.5 11.5 5.5,\n"
        "Y,,Bb clarinet,K,,,as received,33.5 1e3 11.5 5.5 / 1.05,\n"
    )
    bring(bad, do="keep", status=422)
    assert "Nothing was brought in: 2 rows" in browser.text
    for words in (
        "Write the customer's name", "“kazoo” is no instrument", "Write something the piece",
        "Readings need their day", "exponent",
    ):  # fmt: skip
        assert words in browser.text
    assert counts(sessions) == [0, 0, 0]
    assert "kazoo" in browser.page.select_one("#table").text
    assert not browser.page.select("button[value=keep]")


def test_an_unusual_reading_is_asked_about_and_can_be_kept(bring, browser):
    bring(GOOD.replace(CLOSE_LINE, "52.5 21.5 11.5 5.5 / 1.05"))
    assert "Unusual, is it so?" in browser.text
    assert browser.page.select("button[value=keep]")


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("", "Paste the table"),
        ("name,instrument\n", "no row under it"),
        ("name\nx", "column “instrument” is missing"),
        ("name,instrument,colour\nx,y,z", "no column “colour”"),
        ("name,name,instrument\nx,y,z", "there twice"),
        ('name,instrument\n"x,y', "never closed"),
    ],
)
def test_a_table_that_cannot_be_read_is_refused_in_words(bring, browser, table, words):
    bring(table, status=422)
    assert words in browser.text


def test_a_file_is_read_whatever_its_letters_are_coded_in(bring, sessions):
    for coded in (GOOD.encode("utf-8-sig"), GOOD.replace("Łukoł", "Lukol").encode("cp1252")):
        page = bring(file=coded)
        assert "Zoë" in page.select("section tbody tr")[2].text
    bring(file=GOOD.encode(), do="keep")
    assert counts(sessions) == [3, 3, 3]


def test_a_cell_that_looks_like_a_formula_or_a_tag_is_only_text(bring, browser):
    bring('name,instrument,maker\n"=1+1<script>alert(1)</script>",clarinet,"@SUM(A1)"\n')
    assert "=1+1<script>" in browser.text
    assert not browser.page.select("main script")


def test_every_column_is_documented_on_the_page(browser):
    browser.open("/notebook")
    for column in COLUMNS.values():
        assert column.words in browser.text


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Bb clarinet", "clarinet_bb"),
        ("B♭ or A clarinet", "clarinet_bb"),
        ("alto sax", "sax_alto"),
        ("Bass-Clarinet", "clarinet_bass"),
        ("sax tenor", "sax_tenor"),
        ("kazoo", None),
    ],
)
def test_an_instrument_is_known_however_it_is_spelled(text, kind):
    assert find_instrument(text) == kind


def test_a_table_that_looks_at_the_beak_is_turned_round_as_the_shop_says_how_it_looks(browser):
    table = "name,instrument,marking,date,readings\nO W,clarinet,N4,2019-05-03,"
    browser.open("/notebook")
    browser.send("main form", do="look", table=f"{table}35.5/34 22 13 6.5 / 1.12",
                 rails_seen="beak")  # fmt: skip
    assert "34/35.5 22 13 6.5 / 1.12" in browser.text
    browser.send("main form", do="keep")
    browser.open("/pieces/1")
    assert "34/35.5 22 13 6.5 / 1.12" in browser.text
    browser.open("/settings")
    browser.send("main form", rails_seen="tip_down")
    browser.open("/notebook")
    assert browser.page.select_one("#rails_seen option[selected]")["value"] == "tip_down"
    browser.send("main form", do="look", table=f"{table}36/34.5 22 13 6.5 / 1.12",
                 rails_seen="beak")  # fmt: skip
    assert "36/34.5 22 13 6.5 / 1.12" in browser.text
    browser.open("/pieces/1/readings?role=reference")
    assert "Left and right with the table facing you, tip down" in browser.page.main.text


def test_of_twins_in_the_book_the_row_must_say_which(browser, take_in):
    typed = {"piece_maker": "Kestrel Row", "piece_marking": "N4", "same_piece": "none"}
    take_in(**typed)
    browser.open("/drop-off?customer=1")
    browser.send("main form", do="take_in", piece="new", **typed)
    browser.open("/notebook")
    table = "name,instrument,maker,marking\nOttilie Wiesenrauch,clarinet,Kestrel Row,N4\n"
    browser.send("main form", do="look", table=table)
    assert "Two pieces like this are in the book" in browser.text
    assert browser.page.select_one("tr.is-wrong")


def test_a_piece_under_two_owners_is_asked_about_in_the_table_and_against_the_book(
    bring, browser, take_in
):
    two = f"{HEADING}\n{ONE},,,,\nJörg Ł,,Bb clarinet,Kestrel Row,N4,,,,\n"
    bring(two)
    assert "such a piece stands under Ottilie Wiesenrauch, row 1 as well" in browser.text
    take_in("Zoë Łukołapkowa")
    bring(two)
    assert "such a piece stands under Zoë Łukołapkowa, in the book as well" in browser.text
    bring(two, do="keep")
    assert browser.path == "/customers"
