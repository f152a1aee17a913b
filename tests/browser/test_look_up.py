"""Looking up while typing, and finding a returning customer at drop-off."""

from tests.browser.work import keep_line, send_home, take_piece_in
from tests.lines import CLOSE_LINE


def test_results_show_while_typing_and_the_count_is_announced(page):
    take_piece_in(page, "Łucja Straßbummel")
    page.goto("/")
    page.get_by_label("Look up a customer, piece or job").press_sequentially("strassb", delay=20)
    results = page.locator("[data-look-results]")
    results.get_by_role("link", name="Łucja Straßbummel").first.wait_for()
    assert page.url.endswith("/")
    assert "found" in page.locator("[data-look-status]").inner_text()
    page.keyboard.press("Escape")
    assert not results.is_visible()


def test_a_slow_answer_to_an_older_question_is_dropped(page):
    take_piece_in(page, "Annabel Quellmütze")
    take_piece_in(page, "Zacharias Zirpgras", "N5")
    page.goto("/")

    def slowly(route):
        if "q=anna" in route.request.url:
            page.wait_for_timeout(900)
        route.continue_()

    page.route("**/look-up/results*", slowly)
    box = page.get_by_label("Look up a customer, piece or job")
    box.fill("anna")
    page.wait_for_timeout(300)
    box.fill("zirpgras")
    results = page.locator("[data-look-results]")
    results.get_by_text("Zacharias Zirpgras").first.wait_for()
    page.wait_for_timeout(1000)
    assert "Anna" not in results.inner_text()


def test_the_box_is_a_plain_form_that_works_without_scripts(chromium, address, page):
    job = take_piece_in(page, "Annabel Quellmütze")
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    plain = context.new_page()
    plain.goto("/")
    plain.get_by_label("Look up a customer, piece or job").fill(str(job))
    plain.get_by_role("button", name="Look up").click()
    assert plain.get_by_role("link", name=f"Job {job}").count() == 1
    context.close()


def test_a_returning_customer_is_found_while_typing_and_their_piece_chosen(page):
    first = take_piece_in(page, "Annabel Quellmütze")
    keep_line(page, first, CLOSE_LINE)
    send_home(page, first)
    page.goto("/drop-off")
    page.get_by_label("Has been here before").press_sequentially("quel", delay=20)
    choice = page.locator("[data-found-customers] label").first
    choice.wait_for()
    assert "last here" in choice.inner_text()
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    piece = page.locator("[data-customer-pieces]").get_by_text("Kestrel Row “N4”")
    piece.wait_for()
    assert not page.locator("#customer_name").is_visible()
    page.locator("[data-customer-pieces] input[name=piece]").first.check()
    page.get_by_role("button", name="Take it in").click()
    page.wait_for_url("**/jobs/*said=taken-in")
    page.locator("h1 a").click()
    page.get_by_role("heading", name="Last facing").wait_for()
    assert CLOSE_LINE in page.locator(".first-look").inner_text()


def test_the_list_is_walked_with_arrow_keys_and_closed_with_escape(page):
    job = take_piece_in(page, "Annabel Quellmütze")
    page.goto("/")
    box = page.get_by_label("Look up a customer, piece or job")
    results = page.locator("[data-look-results]")
    box.press_sequentially(str(job), delay=20)
    results.get_by_role("link").first.wait_for()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.getAttribute('href')") == f"/jobs/{job}"
    page.keyboard.press("ArrowUp")
    assert box.evaluate("one => one === document.activeElement")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Escape")
    assert not results.is_visible()
    assert box.evaluate("one => one === document.activeElement")
    page.keyboard.press("ArrowDown")
    results.get_by_role("link").first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/jobs/{job}")


def test_the_list_closes_when_the_box_is_left(page):
    take_piece_in(page, "Annabel Quellmütze")
    page.goto("/")
    box = page.get_by_label("Look up a customer, piece or job")
    results = page.locator("[data-look-results]")
    box.press_sequentially("quel", delay=20)
    results.get_by_role("link").first.wait_for()
    page.get_by_role("link", name="Customers").focus()
    assert not results.is_visible()
    box.press_sequentially("l")
    page.get_by_role("link", name="Customers").focus()
    page.wait_for_timeout(500)
    assert not results.is_visible()


def test_enter_in_a_new_customers_name_moves_on_and_finds_nobody(page):
    page.goto("/drop-off")
    page.get_by_label("Name", exact=True).fill("Annabel Quellmütze")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.name") == "customer_phone"
    assert page.url.endswith("/drop-off")


def test_without_scripts_find_shows_the_pieces_and_nothing_is_offered_that_needs_scripts(
    chromium, address, page
):
    job = take_piece_in(page, "Annabel Quellmütze")
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    plain = context.new_page()
    plain.goto("/drop-off")
    plain.get_by_label("Has been here before").fill("quel")
    plain.get_by_role("button", name="Find").click()
    assert plain.locator("input[name=customer]:checked").get_attribute("value") != "new"
    pieces = plain.locator("[data-customer-pieces]")
    assert pieces.get_by_text("Kestrel Row “N4”").is_visible()
    plain.goto(f"/jobs/{job}/messages")
    assert plain.get_by_text("Open in the mail program").first.is_visible()
    assert not plain.locator("[data-copy]").first.is_visible()
    context.close()


def test_a_column_pasted_into_a_cell_goes_down_the_table(page):
    page.goto("/drop-off")
    page.get_by_role("button", name="more lines").click()
    paste = """(one, text) => {
      const data = new DataTransfer();
      data.setData("text", text);
      one.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true }));
    }"""
    page.locator("#piece_maker").evaluate(paste, "Kestrel Row\tThree\tS1\n\t\tS2\nTin Lantern\n")
    for name, text in (("piece_model", "Three"), ("piece2_marking", "S2"),
                       ("piece2_maker", ""), ("piece3_maker", "Tin Lantern")):  # fmt: skip
        assert page.locator(f"#{name}").input_value() == text
    page.locator("#piece12_marking").evaluate(paste, "S1\nS2\nS3")
    assert "3 lines" in page.locator("[data-pasted]").inner_text()
    assert page.locator("#piece12_marking").input_value() == ""
