"""The drop-off page: one order of any number of pieces, here or still to come."""

import pytest
from sqlalchemy import select

from app.store.records.waiting import list_visits
from app.store.tables import Charge, Instrument, Job, Piece

BOX = {f"piece{row}_marking": f"S{row}" for row in range(2, 13)}


@pytest.fixture
def box(browser):
    """Take a school's box of twelve in by the table."""
    browser.open("/drop-off")
    browser.send("main form", do="more", customer_name="Tannhofschule Nirgendheim")
    assert len(browser.page.select("tbody tr")) == 12
    assert browser.page.select_one("#customer_name")["value"] == "Tannhofschule Nirgendheim"
    browser.send(
        "main form", do="take_in", piece_maker="Kestrel Row", piece_marking="S1", **BOX,
        piece3_instrument_kind="sax_alto", piece3_asked="squeaks", request="made playable again",
        agreed_price="40", deposit="25", declared_value="600", came_with=["cap"],
    )  # fmt: skip
    assert browser.path == "/jobs/1", browser.text
    return browser


def test_a_box_of_twelve_is_one_order_and_each_piece_has_its_own_job(box, sessions):
    assert "One order of 12 pieces" in box.text
    with sessions.read() as session:
        jobs = session.scalars(select(Job).order_by(Job.number)).all()
        assert [job.order_id for job in jobs] == [None, *[jobs[0].id] * 11]
        assert [job.request for job in jobs[1:4]] == [
            "made playable again", "squeaks", "made playable again",
        ]  # fmt: skip
        assert [job.agreed_price_minor for job in jobs] == [4000, *[None] * 11]
        assert [job.deposit_minor for job in jobs] == [2500, *[None] * 11]
        assert len({job.piece_id for job in jobs}) == 12


def test_what_a_line_leaves_empty_stands_in_it_as_in_the_line_above(browser, sessions):
    browser.open("/drop-off")
    browser.send("main form", do="more")
    assert browser.page.select_one("#piece2_material option").text == "as above"
    browser.send("main form", do="take_in", customer_name="Tannhofschule Nirgendheim",
                 piece_maker="Kestrel Row", piece_model="Three", piece_marking="S1",
                 piece_instrument_kind="sax_alto", piece_material="metal",
                 piece3_marking="S2", piece4_maker="Tin Lantern", piece4_marking="S3",
                 piece5_maker="–", piece5_marking="S4", piece5_material="plastic")  # fmt: skip
    with sessions.read() as session:
        kept = [(one.instrument_kind, one.maker, one.model, one.material)
                for one in session.scalars(select(Piece).order_by(Piece.id))]  # fmt: skip
    assert kept == [
        ("sax_alto", "Kestrel Row", "Three", "metal"),
        ("sax_alto", "Kestrel Row", "Three", "metal"),
        ("sax_alto", "Tin Lantern", "", "metal"),
        ("sax_alto", "", "", "plastic"),
    ]


def test_enter_in_find_presses_find_where_no_script_moves_on(browser, take_in):
    take_in()
    browser.open("/drop-off")
    assert browser.page.select_one("form.counter button")["value"] == "enter"
    browser.send("form.counter", do="enter", find="wiesen", request="kept all the same")
    assert browser.page.select_one("input[name=customer]:checked")["value"] == "1"
    assert browser.page.select_one("#request").text.strip() == "kept all the same"
    browser.send("form.counter", do="enter", piece=["1"], status=422)
    assert browser.page.select_one("#piece-problem")  # chosen, so Enter takes it in: it is here


def test_lines_left_empty_are_no_pieces_and_a_line_without_a_name_is_asked_about(browser):
    browser.open("/drop-off")
    browser.send("main form", do="more")
    browser.send("main form", do="take_in", status=422, customer_name="Ottilie Wiesenrauch",
                 piece_marking="N4", piece7_asked="new cork")  # fmt: skip
    assert browser.page.select_one("#piece7_marking-problem")
    assert browser.page.select_one("#piece7_asked")["value"] == "new cork"
    browser.send("main form", do="take_in", piece7_asked="")
    assert browser.path == "/jobs/1"


def test_a_piece_is_in_one_order_at_a_time(browser, take_in):
    take_in()
    browser.open("/drop-off?customer=1&piece=1")
    assert browser.page.select_one("[name=piece]").has_attr("checked")
    browser.send("main form", do="take_in", status=422, request="again")
    assert "job 1, dropped off" in browser.text
    assert browser.page.select_one("#request").text.strip() == "again"
    browser.open("/jobs/1")
    browser.send("form.with-button", stage="returned")
    browser.open("/drop-off?customer=1&piece=1")
    browser.send("main form", do="take_in", piece_marking="N5")
    assert browser.path == "/jobs/2"  # the known piece and a new one beside it
    browser.open("/jobs/3")


def test_services_are_charged_at_each_piece_s_price_or_asked_about(browser, sessions):
    browser.open("/settings/prices")
    browser.send("main form", label_new0="refacing", family_new0="clarinets", price_new0="73.10",
                 label_new1="refacing", family_new1="saxophones", price_new1="88.20")  # fmt: skip
    browser.open("/drop-off")
    browser.send("main form", do="more", customer_name="Ottilie Wiesenrauch")
    typed = {"piece_marking": "N4", "piece2_marking": "T1", "service": ["refacing"]}
    browser.send("main form", do="take_in", status=422, piece2_instrument_kind="sax_soprano",
                 **typed)  # fmt: skip
    assert "has no price for a piece of a soprano saxophone" in browser.text
    browser.send("main form", do="take_in", piece2_instrument_kind="sax_tenor")
    with sessions.read() as session:
        charged = session.scalars(select(Charge.amount_minor).order_by(Charge.job_id)).all()
        assert list(charged) == [7310, 8820]


def test_an_amount_in_another_currency_is_refused_and_nothing_typed_is_lost(browser):
    browser.open("/drop-off")
    browser.send("main form", do="take_in", status=422, customer_name="Ottilie Wiesenrauch",
                 piece_marking="N4", agreed_price="85 USD")  # fmt: skip
    assert "USD" in browser.page.select_one("#agreed_price-problem").text
    assert browser.page.select_one("#piece_marking")["value"] == "N4"


def test_without_scripts_the_pieces_appear_once_the_one_customer_is_found(browser, take_in):
    take_in()
    browser.open("/drop-off")
    browser.send("main form", do="find", find="wiesen")
    assert browser.page.select_one("[name=customer][checked]")["value"] == "1"
    assert browser.page.select_one("input[name=piece]")["value"] == "1"


def test_one_begins_in_the_field_that_finds(browser):
    browser.open("/drop-off")
    assert browser.page.select_one("[autofocus]")["id"] == "find"


def test_a_piece_still_to_come_is_expected_and_then_comes_in(browser, clock, sessions):
    browser.open("/drop-off")
    browser.send("main form", do="take_in", customer_name="Ottilie Wiesenrauch",
                 piece_marking="N4", expected_on="2026-12-04")  # fmt: skip
    assert browser.page.select_one(".stages [aria-current=step]").text == "expected"
    clock.pass_days(10)
    browser.open("/jobs/1")
    browser.send("form[action$=stage]")
    assert browser.page.select_one(".stages [aria-current=step]").text == "dropped off"
    with sessions.read() as session:
        job = session.scalars(select(Job)).one()
        assert (job.dropped_off.isoformat(), job.expected_on.isoformat()) == (
            "2026-12-05", "2026-12-04",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"expected_on": "2026-11-20"}, "expected_on"),
        ({"expected_on": "2026-12-20", "wanted_by": "2026-12-10"}, "wanted_by"),
    ],
)
def test_days_that_can_not_be_are_refused_in_words(browser, typed, field):
    browser.open("/drop-off")
    browser.send("main form", do="take_in", status=422, customer_name="Ottilie Wiesenrauch",
                 piece_marking="N4", **typed)  # fmt: skip
    assert browser.page.select_one(f"#{field}-problem")


def test_the_horn_is_noted_of_those_pieces_that_are_for_its_kind(browser, sessions):
    browser.open("/drop-off")
    browser.send("main form", do="more")
    browser.send("main form", do="take_in", customer_name="Ottilie Wiesenrauch",
                 piece_marking="N4", piece2_marking="T1", piece2_instrument_kind="sax_tenor",
                 instrument="new", instrument_kind="sax_tenor")  # fmt: skip
    with sessions.read() as session:
        horn = session.scalars(select(Instrument)).one()
        jobs = session.scalars(select(Job).order_by(Job.number)).all()
        assert [job.instrument_id for job in jobs] == [None, horn.id]


def test_a_piece_given_back_unworked_says_nothing_of_how_long_one_takes(browser, take_in, sessions):
    for stage, done in (("returned_unworked", 0), ("returned", 1)):
        browser.open(f"/jobs/{take_in()}")
        browser.send("form[action$=stage]", stage=stage)
        with sessions.read() as session:
            assert len(list_visits(session)) == done
