"""The entry grid by keyboard alone, as the checklist asks."""

import pytest

from tests.browser.work import take_piece_in


@pytest.fixture
def grid(page):
    """Open an empty grid; gives the page."""
    job = take_piece_in(page)
    page.goto(f"/jobs/{job}/readings?role=as_received")
    return page


# the grid itself, without the parts that open on demand
CELLS = ".now-table input"


def focused(page) -> str:
    return page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()")


def test_every_cell_is_a_plain_text_field_with_its_own_name(grid):
    cells = grid.locator("table.grid input")
    names = [one.get_attribute("aria-label") for one in cells.all()]
    assert len(set(names)) == len(names)
    assert grid.locator(CELLS).count() == 10
    assert "left rail, 0.010 in" in names
    for one in cells.all():
        assert one.get_attribute("type") == "text"
        assert one.get_attribute("autocomplete") == "off"
        assert one.get_attribute("spellcheck") == "false"
    for one in grid.locator(CELLS).all():
        assert one.get_attribute("inputmode") == "decimal"
    # a keypad has no slash: the line stays an ordinary text field
    assert grid.locator("#line").get_attribute("inputmode") is None
    assert grid.locator("form[data-grid]").get_attribute("novalidate") is not None


@pytest.mark.parametrize("key", ["Enter", "NumpadEnter"])
def test_enter_goes_from_cell_to_cell_and_the_last_one_keeps(grid, key):
    seen = []
    for value in ("33,5", "33.5", "21.5", "22", "11.5", "11.5", "5.5", "5.5", "1.05", ".591"):
        assert "/readings?role=" in grid.url
        seen.append(grid.evaluate("document.activeElement.getAttribute('aria-label')"))
        grid.keyboard.type(value)
        grid.keyboard.press(key)
    grid.wait_for_url("**/jobs/*said=readings*")
    assert len(seen) == 10
    assert seen[-2:] == ["tip opening, hundredths of a millimetre", "exit bore, inches"]
    assert "33.5 21.5/22 11.5 5.5 / 1.05" in grid.locator("#readings .figure").text_content()


def test_shift_enter_goes_back_and_focus_selects_what_is_there(grid):
    grid.keyboard.type("6")
    grid.keyboard.press("Enter")
    grid.keyboard.press("Shift+Enter")
    assert grid.evaluate("document.activeElement.value") == "6"
    assert grid.evaluate("window.getSelection().toString()") == "6"
    grid.keyboard.type("7")
    assert grid.evaluate("document.activeElement.value") == "7"


def test_each_reading_shows_its_meaning_in_mm_while_it_is_typed(grid):
    grid.keyboard.type("35.5")
    means = grid.locator("table.grid .means").first
    means.filter(has_text="17.75 mm").wait_for()


def test_a_preview_names_the_curve_before_anything_is_kept(grid):
    grid.keyboard.type("35.5 23.5 11.5 5.5 / 1.09")
    preview = grid.locator("[data-preview]")
    preview.filter(has_text="tip stands").wait_for()  # the last digit is told too
    assert "circular arc" in preview.inner_text()
    picture = preview.locator("img")
    picture.wait_for()
    picture.evaluate("one => one.decode()")
    grid.goto("/")
    assert grid.locator(".job-line").count() == 1
    grid.locator(".job-line").click()
    assert "Not measured yet" in grid.locator("#readings").text_content()


def test_an_impossible_order_is_refused_in_words_with_all_that_was_typed(grid):
    grid.get_by_label("left rail, 0.034 in").fill("25")
    grid.get_by_label("right rail, 0.010 in").fill("1e3")
    for name, value in (("left rail, 0.024 in", "12.5"), ("left rail, 0.010 in", "23.5")):
        grid.get_by_label(name).fill(value)
    grid.get_by_role("button", name="Keep the readings").click()
    grid.locator(".problems").wait_for()
    assert grid.title().startswith("Error: ")
    assert "problems" in grid.evaluate("document.activeElement.className")
    assert "can't stop nearer the tip" in grid.locator(".problems").inner_text()
    assert "exponent" in grid.locator(".problems").inner_text()
    cell = grid.get_by_label("right rail, 0.010 in")
    assert cell.input_value() == "1e3"
    assert cell.get_attribute("aria-invalid") == "true"
    problem = cell.get_attribute("aria-describedby").split()[-1]
    assert "exponent" in grid.locator(f"#{problem}").inner_text()
    grid.locator(".problems a").first.click()
    assert grid.evaluate("document.activeElement.matches('[data-cell]')")


def test_something_unusual_is_asked_once_and_kept_on_yes(grid):
    grid.keyboard.type("52.5 23.5 12.5 6.5 / 1.11")
    grid.keyboard.press("Enter")
    grid.locator(".asks").wait_for()
    assert "usual here is" in grid.locator(".asks").inner_text()
    grid.get_by_role("button", name="Yes, keep the readings").click()
    grid.wait_for_url("**/jobs/*said=readings*")


@pytest.mark.parametrize(("width", "least"), [(1280, 36), (390, 44), (320, 44)])
def test_cells_are_large_enough_and_the_page_does_not_scroll_sideways(grid, width, least):
    grid.set_viewport_size({"width": width, "height": 800})
    boxes = [one.bounding_box() for one in grid.locator("table.grid input").all()]
    assert min(box["height"] for box in boxes) >= least
    assert grid.evaluate("document.documentElement.scrollWidth") <= width


def test_it_works_the_same_without_scripts(chromium, address, page):
    job = take_piece_in(page)
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    plain = context.new_page()
    plain.goto(f"/jobs/{job}/readings?role=as_received")
    plain.locator("#line").fill("35.5 23.5 11.5 5.5 / 1.09")
    plain.get_by_role("button", name="Check first").click()
    assert "circular arc" in plain.locator("[data-preview]").inner_text()
    assert plain.get_by_label("left rail, 0.0015 in").input_value() == "35.5"
    plain.get_by_role("button", name="Keep the readings").click()
    assert "35.5 23.5 11.5 5.5 / 1.09" in plain.locator("#readings").text_content()
    context.close()


def test_what_was_typed_is_offered_back_after_a_reload_and_the_back_button(grid):
    address = grid.url
    for value in ("35.5", "35.5", "23.5"):
        grid.keyboard.type(value)
        grid.keyboard.press("Enter")
    grid.locator("[data-means]").first.filter(has_text="17.75 mm").wait_for()
    grid.reload()
    grid.get_by_role("link", name="Use the draft").click()
    grid.locator("table.grid input").first.wait_for()
    first = [one.input_value() for one in grid.locator("table.grid input").all()][:4]
    assert first == ["35.5", "35.5", "23.5", ""]
    # A change made just before the page is left is sent as it closes.
    grid.locator("table.grid input").nth(3).fill("12,5")
    grid.goto("/")
    grid.goto(address)
    grid.get_by_role("link", name="Use the draft").click()
    assert grid.locator("table.grid input").nth(3).input_value() == "12,5"
    grid.get_by_role("button", name="Discard the draft").click()
    grid.wait_for_load_state()
    assert grid.locator(".draft").count() == 0
