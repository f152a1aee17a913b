"""Playing, parcels and after: what a shop used to write as notes is a record of its own."""

import time
from datetime import timedelta, timezone

import icalendar
import pytest

from app.store.records.memos import list_felt
from app.store.tables import Customer, JobTick, Memo
from tests.lines import OPEN_LINE
from tests.web.jobs.test_messages import mailtos


@pytest.fixture
def job(take_in):
    return take_in(
        customer_phone="+44 1632 960 123", customer_email="ottilie@example.org",
        complaint=["stuffy", "squeaks"], risk=["crack: may run on"], declared_value="120",
    )  # fmt: skip


def memo(browser, kind, status=200, at="", **typed):
    if at:
        browser.open(at)
    browser.send(f"form[action$='/memos/{kind}']", status, do="keep",
                 **{f"{kind}_{name}": value for name, value in typed.items()})  # fmt: skip


def opened(browser, path):
    """Give a page's words in one line."""
    browser.open(path)
    return browser.text


def test_complaints_are_ticked_and_each_has_its_outcome_and_keeps_it(browser, job, sessions):
    browser.open(f"/jobs/{job}/memos")
    one, other = (field["name"] for field in browser.page.select("[name^=outcome-][value='']"))
    browser.send("form[action$=outcomes]", **{one: "better", other: "same"},
                 finding=["rails uneven"], finding_more="glue in the window")  # fmt: skip
    with sessions.read() as session:
        ticks = {(t.kind, t.label): t.outcome for t in session.query(JobTick)}
    assert ticks[("complaint", "stuffy")] == "better"
    assert ticks[("complaint", "squeaks")] == "same"
    assert ("finding", "glue in the window") in ticks
    browser.open(f"/jobs/{job}/edit")
    browser.send("main form", complaint_more="thin")
    browser.open(f"/jobs/{job}")
    assert "Came in stuffy (better now) , squeaks (the same now) , thin" in browser.text
    assert "After the work: stuffy: better; squeaks: the same." in browser.text
    assert "glue in the window" in opened(browser, f"/jobs/{job}/memos")


def test_the_risks_accepted_and_the_complaints_stand_on_the_intake_slip(browser, job):
    words = opened(browser, f"/jobs/{job}/papers/intake_slip")
    assert "Risks accepted: crack: may run on" in words
    assert "stuffy, squeaks" in words
    assert "Warrant" not in words


def test_the_warranty_stands_on_the_intake_slip_until_when_and_for_what(browser, job):
    memo(browser, "warranty", at=f"/jobs/{job}/memos", due="2027-11-25", covers="the facing")
    words = opened(browser, f"/jobs/{job}/papers/intake_slip")
    assert "Warranty: until 25 November 2027 the facing" in words
    browser.open(f"/jobs/{job}/memos")
    browser.send("form[action$=strike]", do="strike")
    assert "Warrant" not in opened(browser, f"/jobs/{job}/papers/intake_slip")


def test_a_play_test_says_who_and_what_and_asks_for_both(browser, job):
    memo(browser, "play_test", 422, at=f"/jobs/{job}/memos", set_up="3 strength, six months old")
    assert "Write who played it." in browser.text
    assert browser.page.select_one("#play_test_set_up")["value"] == "3 strength, six months old"
    memo(browser, "play_test", who="Ottilie", said="freer, but thin up high")
    assert "freer, but thin up high" in browser.text
    assert "six months old" in opened(browser, f"/jobs/{job}")


def test_the_seal_before_and_after_stands_side_by_side(browser, job):
    memo(browser, "seal", at=f"/jobs/{job}/memos", moment="before", seconds="3")
    memo(browser, "seal", 422, moment="after", seconds="a while")
    assert "“a while” is not a count of seconds" in browser.text
    memo(browser, "seal", moment="after", seconds="11,5 s")
    assert "The reed held for 3 s before the work and 11.5 s after it." in browser.text


def test_a_parcel_s_facts_stand_on_the_packing_note(browser, job):
    memo(browser, "parcel", 422, at=f"/jobs/{job}/memos", way="out", declared="120 USD")
    assert "“120 USD” is not an amount" in browser.text
    memo(browser, "parcel", way="out", carrier="the yellow van", number="ZZ 12", declared="120",
         contents="clarinet mouthpiece", worth="90", origin="Nirgendheim",
         due="2026-11-30")  # fmt: skip
    words = opened(browser, f"/jobs/{job}/papers/packing_note")
    for told in ("the yellow van, tracking ZZ 12", "120.00 EUR", "clarinet mouthpiece", "90.00 EUR",
                 "Nirgendheim"):  # fmt: skip
        assert told in words, told


def test_a_reminder_is_in_the_calendar_on_the_bench_list_and_keeps_its_answer(
    browser, client, job, clock
):
    memo(browser, "asking", 422, at=f"/jobs/{job}/memos", due="2026-11-01")
    assert "can’t be before 25 November 2026." in browser.text
    memo(browser, "asking", due="2027-02-01", what="the low notes")
    events = icalendar.Calendar.from_ical(client.get("/calendar.ics").content).walk("VEVENT")
    assert [str(one["SUMMARY"]).split(":")[0] for one in events] == ["Ask on"]
    assert "Ask on" not in opened(browser, "/")
    clock.pass_days(70)
    assert "Ask on" in opened(browser, "/")
    browser.open(f"/jobs/{job}/memos")
    browser.send("form[action$=done]", 422)
    field = browser.page.select_one("[name^=answer-]")["name"]
    browser.send("form[action$=done]", **{field: "still loves it"})
    assert "still loves it" in browser.text
    assert not browser.page.select("form[action$=done]")
    assert "Ask on" not in opened(browser, "/")


def test_a_warranty_needs_its_day_and_stands_on_the_packing_note(browser, job):
    memo(browser, "warranty", 422, at=f"/jobs/{job}/memos", covers="the facing")
    memo(browser, "warranty", due="2027-11-25")
    words = opened(browser, f"/jobs/{job}/papers/packing_note")
    assert "until 25 November 2027" in words
    assert "the facing" in words


def test_a_piece_that_comes_back_under_warranty_says_so(browser, job, clock):
    memo(browser, "warranty", at=f"/jobs/{job}/memos", due="2027-11-25", covers="the facing")
    browser.open(f"/jobs/{job}")
    browser.send("form[action$=stage]", stage="returned")
    clock.pass_days(200)
    browser.open("/drop-off?customer=1&piece=1")
    browser.send("main form", do="take_in")
    assert "Under warranty until 25 November 2027 : the facing ( job 1 )." in browser.text
    clock.pass_days(200)
    browser.send("form[action$=stage]", stage="returned")
    browser.open("/drop-off?customer=1&piece=1")
    browser.send("main form", do="take_in")
    assert "Under warranty" not in browser.text


def test_a_message_once_sent_says_what_and_when(browser, job):
    browser.open(f"/jobs/{job}/messages")
    assert browser.page.select_one("a[href^='tel:']")["href"] == "tel:+441632960123"
    assert mailtos(browser)["ready"].path == "ottilie@example.org"
    form = "section[aria-labelledby=ready-heading] form"
    body = browser.page.select_one(f"{form} [name=message_body]")["value"]
    browser.send(form, message_by="text")
    kept = browser.page.select_one("#message details")
    assert "25 November 2026" in kept.text
    assert "by text message" in kept.text
    assert kept.select_one(".as-sent").text == body
    assert "Sent by text message:" in opened(browser, f"/jobs/{job}")


@pytest.fixture
def elsewhere(monkeypatch):
    """Put the bench where clocks stand five and three quarter hours ahead."""
    monkeypatch.setenv("TZ", "<+0545>-5:45")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("elsewhere")
def test_a_message_s_time_is_told_by_the_bench_s_own_clock(browser, job, clock):
    browser.open(f"/jobs/{job}/messages")
    browser.send("section form", message_by="mail")
    told = clock().astimezone(timezone(timedelta(hours=5, minutes=45)))
    assert f"{told:%H:%M}: " in browser.page.select_one("#message summary").text
    assert "UTC" not in browser.text


def test_a_line_is_struck_out_and_brought_back(browser, job, sessions):
    memo(browser, "play_test", at=f"/jobs/{job}/memos", who="Ottilie", said="fine")
    browser.send("form[action$=strike]", do="strike")
    assert browser.page.select_one("#play_test li.struck")
    browser.send("form[action$=strike]", do="bring_back")
    with sessions.read() as session:
        assert session.query(Memo).one().struck_at is None


def test_what_cured_it_is_said_from_five_cases_on(browser, take_in):
    for number in range(5):
        job = take_in(complaint=["stuffy"], piece_marking=f"N{number}")
        browser.open(f"/jobs/{job}")
        browser.send("form[action$=passes]", kind="baffle")
        assert ("Nothing yet" in opened(browser, "/cures")) == (number > 0)
        browser.open(f"/jobs/{job}/memos")
        name = browser.page.select_one("[name^=outcome-]")["name"]
        browser.send("form[action$=outcomes]", **{name: "better"})
    words = opened(browser, "/cures")
    assert "baffle 5 of 5 57 to 100 %" in words
    assert "Too few without it to compare." in words


def test_how_it_blows_is_the_player_s_word_else_how_hard_it_is_now(
    browser, take_in, read_line, sessions
):
    job = take_in(complaint=["hard"])
    read_line(job, "33.5 21.5 11 5 / 1.05")
    read_line(job, "34.5 22.5 12.5 6.5 / 1.13", role="as_returned")
    assert "Too few yet: 0 jobs of 5 read before" in opened(browser, "/cures")
    browser.open(f"/jobs/{job}/memos")
    name = browser.page.select_one("[name^=outcome-]")["name"]
    browser.send("form[action$=outcomes]", **{name: "better"})
    assert "Too few yet: 1 job of 5 read before" in opened(browser, "/cures")
    with sessions.read() as session:
        assert [one.said for one in list_felt(session)] == ["easier"]
    memo(browser, "play_test", 422, at=f"/jobs/{job}/memos", who="O.", said="so", feel="softer")
    memo(browser, "play_test", who="O.", said="so", feel="harder")
    assert "With the same reed, beside before the work it blows harder" in browser.text
    memo(browser, "play_test", who="P.", said="and so", feel="")
    words = " ".join(opened(browser, "/pieces/1/papers/piece_record").split())
    assert "hard (better after the work)" in words
    assert "beside before the work: it blows harder" in words
    with sessions.read() as session:
        assert [one.said for one in list_felt(session)] == ["harder"]


@pytest.fixture
def made(browser):
    """Begin a batch of three and give its first piece's page of memos."""
    browser.open("/facings/new")
    browser.send("main form", name="Shop five", told_by="readings", line=OPEN_LINE,
                 instrument_kind="clarinet_bb")  # fmt: skip
    browser.open(browser.page.select_one("a[href^='/batches/new']")["href"])
    browser.send("main form", name="Spring run", count="3", marking="M5-##")
    browser.send("form[action$=prices]", **{"price-1": "145", "price-2": "150"})
    return "/pieces/1/memos"


def test_a_piece_goes_out_on_trial_comes_home_late_and_is_sold_with_its_history(
    browser, made, clock
):
    assert "3 in stock, 0 out on trial, 0 sold." in browser.text
    memo(browser, "trial", 422, at=made, to="new", name="Ottilie Wiesenrauch", due="2026-11-01")
    assert "“Due back” can’t be before 25 November 2026." in browser.text
    assert browser.page.select_one("#trial_name")["value"] == "Ottilie Wiesenrauch"
    memo(browser, "trial", to="new", address="Ahornweg 2\nNirgendheim", due="2026-12-05")
    assert "due back 5 December 2026" in browser.text
    assert not browser.page.select("form[action$='/memos/trial']")
    memo(browser, "parcel", at=made, way="out", carrier="the mail boat", number="QX 5",
         contents="clarinet mouthpiece, new", worth="145", origin="Nirgendheim")  # fmt: skip
    words = opened(browser, "/pieces/1/papers/packing_note")
    for told in ("Ottilie Wiesenrauch", "Ahornweg 2", "the mail boat, tracking QX 5", "145.00 EUR",
                 "due back 5 December 2026"):  # fmt: skip
        assert told in words, told
    assert "2 in stock, 1 out on trial, 0 sold." in opened(browser, "/batches/1")
    clock.pass_days(14)
    assert "Due back : Spring run “M5-01”" in opened(browser, "/").replace("The workshop ", "")
    browser.open(made)
    memo(browser, "sale", 422, to="new", name="Jörg Łuckenwirbel", price="145")
    assert "It is out on trial with Ottilie Wiesenrauch: note it home first." in browser.text
    buyer = browser.page.select_one("input[name=sale_to]:not([value=new])")["value"]
    assert browser.page.select_one("#sale_price")["value"] == "145"
    memo(browser, "sale", to=buyer)
    assert "came home 9 December 2026" in browser.text
    assert "145.00 EUR" in browser.text
    words = opened(browser, "/pieces/1")
    assert "Ottilie Wiesenrauch, from 9 December 2026" in words
    assert "piece 1 of Spring run" in words
    assert "2 in stock, 0 out on trial, 1 sold." in opened(browser, "/batches/1")
    assert "Due back" not in opened(browser, "/")


@pytest.mark.usefixtures("job")
def test_a_piece_of_somebody_else_is_not_sold_here(browser):
    browser.open("/pieces/1/memos")
    assert not browser.page.select("form[action$='/memos/sale']")
    assert browser.client.post("/pieces/1/memos/sale", data={}).status_code == 404


@pytest.mark.usefixtures("made")
def test_prices_below_nothing_and_in_another_currency_are_refused(browser):
    browser.open("/batches/1")
    browser.send("form[action$=prices]", 422, **{"price-1": "-5", "price-3": "99 CHF"})
    assert "“-5” is not an amount." in browser.text
    assert "“99 CHF” is not an amount." in browser.text
    assert browser.page.select_one("#price-3")["value"] == "99 CHF"
    browser.open("/batches/1")
    assert browser.page.select_one("#price-1")["value"] == "145.00"


def test_forgetting_empties_messages_and_parcels_and_waits_for_a_trial(
    browser, made, job, sessions
):
    memo(browser, "parcel", at=f"/jobs/{job}/memos", way="out", number="QX 5")
    memo(browser, "asking", due="2027-02-01", what="whether Ottilie likes it")
    browser.open(f"/jobs/{job}/messages")
    browser.send("section[aria-labelledby=ready-heading] form", message_by="mail")
    browser.open(f"/jobs/{job}")
    browser.send("form[action$=stage]", stage="returned")
    with sessions.read() as session:
        person = str(session.query(Customer).filter(Customer.phone != "").one().id)
    browser.open(f"{made}?find=Ottilie")
    memo(browser, "trial", to=person, due="2026-12-05")
    words = opened(browser, f"/customers/{person}/forget")
    assert "They have a piece of yours on trial." in words
    browser.open(made)
    browser.send("form[action$=done]")
    browser.open(f"/customers/{person}/forget")
    browser.send("main form", sure="Ottilie Wiesenrauch")
    assert "Forgotten on" in browser.text
    with sessions.read() as session:
        kept = {one.kind: one for one in session.query(Memo)}
    assert kept["parcel"].details == kept["message"].details == {}
    assert kept["asking"].struck_at
    assert kept["asking"].details["what"] == "whether — likes it"
    for page in ("memos", "messages"):
        assert "Ottilie" not in opened(browser, f"/jobs/{job}/{page}")
