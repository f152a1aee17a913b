"""Steps that several browser tests take."""

from playwright.sync_api import Page

from tests.lines import OPEN_LINE


def take_piece_in(page: Page, customer: str = "Ottilie Wiesenrauch", marking: str = "N4") -> int:
    """Take a new customer's piece in; gives the job's number."""
    page.goto("/drop-off")
    page.get_by_label("Name", exact=True).fill(customer)
    page.locator("#piece_maker").fill("Kestrel Row")
    page.locator("#piece_marking").fill(marking)
    page.get_by_role("button", name="Take it in").click()
    page.wait_for_url("**/jobs/*said=taken-in")
    return int(page.url.split("/jobs/")[1].split("?")[0])


def keep_line(page: Page, job: int, line: str, role: str = "as_received") -> None:
    """Keep readings by the notebook line, with the keyboard; what is unusual is so."""
    page.goto(f"/jobs/{job}/readings?role={role}")
    page.keyboard.type(line)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "role=" not in url)
    if not page.url.split("?")[-1].startswith("said="):
        page.get_by_role("button", name="Yes, keep the readings").click()
    page.wait_for_url("**/jobs/*said=readings*")


def send_home(page: Page, job: int) -> None:
    """Say that a job went home."""
    page.goto(f"/jobs/{job}")
    home = "one => { one.value = 'returned'; one.form.requestSubmit(); }"
    page.locator("#stage").evaluate(home)
    page.wait_for_url("**said=moved*")


def begin_batch(page: Page) -> str:
    """Begin a batch of three to a new facing and read two of its pieces; gives its address."""
    page.goto("/facings/new")
    page.locator("#name").fill("Shop five")
    page.locator("#line").fill(OPEN_LINE)
    page.get_by_role("button", name="Keep the facing").click()
    page.wait_for_url("**/facings/*said=new")
    page.get_by_role("link", name="Begin a batch to it").click()
    for name, value in (("name", "Spring run"), ("count", "3"), ("marking", "M5-##")):
        page.locator(f"#{name}").fill(value)
    page.get_by_role("button", name="Begin the batch").click()
    page.wait_for_url("**/batches/*said=new")
    batch = page.url.split("?")[0]
    page.locator(".head a.do").click()
    page.wait_for_url("**/pieces/*/readings")
    # Enter goes on to the next piece
    for line in (OPEN_LINE, "35.5 21.5/23.5 13.5 6.5 / 1.18"):
        here = page.url
        page.keyboard.type(line)
        with page.expect_navigation():
            page.keyboard.press("Enter")
        if page.url == here:
            page.get_by_role("button", name="Yes, keep the readings").click()
        page.wait_for_url(lambda url, here=here: url != here)
    return batch


def issue(page: Page, job: int, kind: str) -> str:
    """Issue a job's paper; gives its address."""
    return issue_at(page, f"/jobs/{job}/papers/{kind}")


def issue_at(page: Page, preview: str) -> str:
    """Issue the paper previewed at an address; gives the address it is kept at."""
    page.goto(preview)
    page.get_by_role("button", name="Issue it").click()
    page.wait_for_url("**/papers/*said=issued")
    page.wait_for_load_state("networkidle")
    return page.url.split("?")[0]


def choose_in_shop(page: Page, **fields: str) -> None:
    """Change settings of the shop; selects by their label, text fields by what to write."""
    page.goto("/settings")
    for name, value in fields.items():
        field = page.locator(f"#{name}")
        if field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(label=value)
        else:
            field.fill(value)
    page.get_by_role("button", name="Keep the settings").click()
    page.wait_for_url("**/settings?said=kept")


def check_thin_blade(page) -> str:
    """Enter two checks of the thinnest blade, worn at the second; gives its address."""
    page.goto("/gauges")
    page.click("table.register a:text-is('0.0015 in')")
    for day, found in (("2025-06-01", "0.0380"), ("2026-06-01", "0.0345")):
        page.fill("#actual", found)
        page.select_option("#unit", "length_mm")
        page.fill("#checked_on", day)
        page.click("text=Keep the check")
    return page.url.split("?")[0].split("#")[0]


def keep_study(page, gauge: str) -> str:
    """Type a study going round with Enter alone; gives its address."""
    page.goto(f"{gauge}/studies/new?pieces=3&turns=2")
    for number in ("34", "38", "30", "34.5", "38", "30"):
        page.keyboard.type(number)
        page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_url("**/studies/*said=kept")
    return page.url.split("?")[0]
