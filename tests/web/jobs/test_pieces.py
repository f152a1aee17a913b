"""A piece's page, and the lists that lead to it, with four years of (invented) work in the book."""

import re

import pytest

from app.core.compare.effort_words import LEFT_OUT


def open_piece(browser, name: str) -> None:
    browser.open(f"/look-up?q={name}")
    browser.open(browser.page.select_one("main a[href^='/pieces/']")["href"])


def words(found) -> str:
    return re.sub(r"\s+", " ", found.get_text(" ")).strip()


def test_a_returning_piece_shows_what_it_had_when_it_left_and_what_it_has_now(shop_browser):
    open_piece(shop_browser, "H3")
    last = shop_browser.page.select_one(".first-look")
    assert last.select_one("h2").text == "Last facing, as returned 2 October 2025"
    assert last.select_one(".notebook-line").text == "34.5/35 23.5 12.5 6.5/6 / 1.12"
    assert "It is here now: on the bench, job 38" in words(last)
    assert last.select_one(".here .figure").text == "34.5/35 24 13.5/13 7.5/7 / 1.17"
    assert shop_browser.page.select_one("main .do")["href"] == "/jobs/38"


def test_its_picture_shows_the_facing_in_its_headline_and_the_one_before_that_job(shop_browser):
    open_piece(shop_browser, "H3")
    look = shop_browser.page.select_one(".first-look")
    last = look.select_one(".notebook-line a")["href"].split("/")[-1]
    address = look.select_one("img.picture")["src"]
    before, after = re.findall(r"\d+", address)
    assert after == last
    shop_browser.open(f"/readings/{before}")
    assert shop_browser.page.h1.text.startswith("Readings as received")
    assert "Job 19" in shop_browser.page.select_one(".over").text


def test_its_history_runs_from_the_newest_visit_to_the_day_it_was_written_down(shop_browser):
    open_piece(shop_browser, "H3")
    chapters = shop_browser.page.select(".history > li")
    visits = [one.select_one("h3 a").text for one in chapters if "is-visit" in one["class"]]
    assert visits == ["Job 38", "Job 19", "Job 10", "Job 1"]
    assert "Written down as Wilhelmine Straßenlicht’s" in words(chapters[-1])
    roles = [words(one) for one in chapters[1].select(".set-lines .when")]
    # what was read between two passes stands among the steps
    assert [role.split(" 2")[0] for role in roles] == ["as received", "as returned", "at the bench"]
    assert chapters[1].select_one("details .set-lines .when")
    assert "With the same reed it closes about" in words(chapters[2])
    # the pass struck out as written twice is in the steps, but does not count as done
    assert "Tilted toward the tip: 1 pass, 5 strokes" in words(chapters[1])
    assert "Written down twice by mistake" in words(chapters[1].select_one("details"))


def test_card_history_and_comparison_say_the_same_of_how_it_closes_and_what_that_leaves_out(
    shop_browser,
):
    open_piece(shop_browser, "H3")
    visit = next(
        one for one in shop_browser.page.select(".history > li.is-visit")
        if one.select_one("h3 a").text == "Job 1"
    )  # fmt: skip
    said = re.search(r"With the same reed it closes about[^)]*\)", words(visit))[0]
    assert LEFT_OUT in shop_browser.text
    sets = [one["href"].split("/")[-1] for one in visit.select(".when a")[:2]]
    for address in (
        "/comparisons?before={}&after={}".format(*sets), "/jobs/1/papers/return_card",
    ):  # fmt: skip
        shop_browser.open(address)
        assert said in shop_browser.text
        assert LEFT_OUT in shop_browser.text


def test_a_sale_stands_between_the_visits_of_both_owners(shop_browser):
    open_piece(shop_browser, "H4")
    chapters = [words(one) for one in shop_browser.page.select(".history > li")]
    assert ["Job 15" in chapters[0], "Sold on to Tamsin Owlpenny" in chapters[1]] == [True, True]
    assert "Job 9" in chapters[2]
    assert "for Barnaby Quillfeather" in chapters[2]


def test_a_correction_stands_beside_the_readings_it_replaced(shop_browser):
    open_piece(shop_browser, "stoat")
    struck = shop_browser.page.select(".set-lines .replaced")
    (line,) = [one.text for one in struck]
    assert line.startswith("39/39.5 27 16 10 / 1.34")
    assert "if the gauges were already as checked later" in line  # the shop's worn blade
    assert "replaced by a correction" in words(struck[0].find_parent("li"))


def test_a_customers_page_says_what_each_piece_has_and_what_is_no_longer_theirs(shop_browser):
    shop_browser.open("/look-up?q=drizzle")
    shop_browser.open(shop_browser.page.select_one("main a[href^='/customers/']")["href"])
    page = shop_browser.text
    assert "45/45.5 40 35 30 25 19.5 12.5 / 2.07 as returned" in page
    assert "Loud Cockerel “C 105” now Ferelith Snailcastle’s" in page


def test_customers_stand_in_the_order_of_the_alphabet_whatever_their_accents(shop_browser):
    shop_browser.open("/customers")
    names = [one.text for one in shop_browser.page.select("main li b")]
    at = {name: place for place, name in enumerate(names)}
    assert at["Hollow Tree Wind Band"] < at["Íñigo Peñadulce"] < at["Kasimir Pfützenspringer"]
    assert at["Kasimir Pfützenspringer"] < at["Łucja Wiatrołap"] < at["Ludowika Fernwehmut"]
    assert at["Odalys Nubeclara"] < at["Øyvind Skogtrompet"] < at["Perpetua Thimblewick"]


def test_the_bench_list_tells_twins_apart_and_says_what_went_home_when_and_how(shop_browser):
    shop_browser.open("/")
    lines = {
        one.select_one(".job-no").text: words(one) for one in shop_browser.page.select(".job-line")
    }
    assert "blue dot under the beak" in lines["33"]
    assert "4 days overdue" in lines["33"]
    assert lines["26"].endswith("16 August 2026 · returned unworked")
    assert "8 jobs overdue" in shop_browser.text


@pytest.mark.parametrize("typed", ["strass", "STRASSENLICHT", "wilhelmine straß", "01632960111"])
def test_look_up_finds_a_sharp_s_however_it_is_typed(shop_browser, typed):
    shop_browser.open(f"/look-up?q={typed}")
    assert "Wilhelmine Straßenlicht" in shop_browser.text


def test_two_customers_of_one_name_are_told_apart_by_piece_and_last_visit(shop_browser):
    shop_browser.open("/look-up?q=thimblewick")
    told = [words(one) for one in shop_browser.page.select("main a[href^='/customers/']")]
    assert len(told) == len(set(told)) == 2
    assert any("Singing Hedge" in one for one in told)
    assert any("Grand Gander" in one for one in told)


@pytest.mark.parametrize(
    ("job", "said"),
    [
        (27, "15 Oct 2026"),
        (33, "21 Nov 2026, 4 days overdue"),
        (30, "29 Nov 2026, in 4 days"),
    ],
)
def test_a_job_says_when_it_is_wanted_and_of_one_that_went_home_only_the_day(
    shop_browser, job, said
):
    shop_browser.open(f"/jobs/{job}")
    (wanted,) = [
        one.find_next("dd") for one in shop_browser.page.select("dt") if one.text == "Wanted"
    ]
    assert words(wanted) == said
