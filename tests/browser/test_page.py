"""The page in a browser: what is seen, what an edit does, what a telephone shows, and what is asked of whom.

Needs a chromium. Without one the checks are left out, except where CI=true: there they fail.
"""

import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

CHROMIUM = Path("/usr/bin/chromium")
VIEWS = ("", "development", "programme", "site", "money", "assumptions")
HARMLESS = ("_stcore/health", "_stcore/host-config")
"""What the browser asks for below the path of a view before it finds it at the root."""

BAD = """\
[development]
name = "Wrong Yard"
place = "atlantis"
start = 2027-04-05

[[blocks]]
name = "East"
storeys = 0
flats_per_storey = 9
"""


@pytest.fixture(scope="module")
def browser():
    if not CHROMIUM.exists():
        reason = f"{CHROMIUM} is not there: install Debian's chromium to check the page in a browser."
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def address(browser):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    root = Path(__file__).resolve().parents[2]
    command = [sys.executable, "-m", "dashboard.cli", "page", "--no-browser", "--port", str(port)]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with subprocess.Popen(command, cwd=root, env={**os.environ, "PYTHONPATH": str(root)}, **quiet) as server:
        url = f"http://127.0.0.1:{port}/"
        try:
            _wait(f"{url}_stcore/health", server)
            yield url
        finally:
            server.terminate()


def _wait(url, server, seconds=60):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        assert server.poll() is None, "the server ended before it answered"
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    pytest.fail(f"the server did not answer within {seconds} s")


class Watch:
    """One window, and all that it asked for and complained of."""

    def __init__(self, browser, address, **how):
        self.address, self.errors, self.strangers, self.sent = address, [], [], 0
        self.context = browser.new_context(**{"viewport": {"width": 1440, "height": 900}, **how})
        self.page = self.context.new_page()
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("request", self._request)
        self.page.on("websocket", self._socket)

    def _console(self, message):
        url = message.location.get("url", "")
        if message.type == "error" and not ("404" in message.text and url.endswith(HARMLESS)):
            self.errors.append(f"{message.text} {url}")

    def _request(self, request):
        if not request.url.startswith((self.address, "data:", f"blob:{self.address}")):
            self.strangers.append(request.url)

    def _socket(self, socket_):
        own = self.address.replace("http", "ws", 1)
        if not socket_.url.startswith(own):
            self.strangers.append(socket_.url)
        socket_.on("framesent", lambda _frame: setattr(self, "sent", self.sent + 1))

    def open(self, view):
        self.page.goto(self.address + view)
        self.settle()
        return self.page

    def settle(self):
        self.page.wait_for_selector("h1.sp-sentence", timeout=60_000)
        self.page.wait_for_selector("[data-testid=stApp][data-test-script-state=notRunning]")
        self.page.wait_for_function("() => !document.querySelector('[data-testid=stSkeleton]')")

    def headline(self):
        return self.page.locator("h1.sp-sentence").inner_text()

    def wait_for_another(self, headline):
        self.page.wait_for_function(
            "old => { const h = document.querySelector('h1.sp-sentence'); return h && h.innerText !== old; }",
            arg=headline,
        )


@pytest.fixture
def window(browser, address):
    made = []

    def make(**how):
        made.append(Watch(browser, address, **how))
        return made[-1]

    yield make
    for one in made:
        one.context.close()


@pytest.fixture(scope="module")
def editing(browser, address):
    """One window on the development, for every check that changes it."""
    seen = Watch(browser, address, viewport={"width": 1440, "height": 1600})
    seen.open("development")
    yield seen
    seen.context.close()


def storeys_of(page):
    return int(page.get_by_label("Storeys", exact=True).input_value())


def test_every_view_fits_a_telephone_without_complaint_or_stranger(window):
    seen = window(viewport={"width": 390, "height": 844}, color_scheme="dark")
    for view in VIEWS:
        page = seen.open(view)
        widths = page.evaluate(
            "() => [document.documentElement.scrollWidth,"
            " document.querySelector('[data-testid=stMain]').scrollWidth]"
        )
        assert max(widths) <= 390, view
        assert not page.locator("[data-testid=stException]").count(), view
    assert seen.errors == []
    assert seen.strangers == []


@pytest.mark.parametrize(("mode", "ground"), [("light", "rgb(251, 248, 241)"), ("dark", "rgb(18, 24, 27)")])
def test_the_page_follows_the_light_and_the_dark_of_the_system(window, mode, ground):
    page = window(color_scheme=mode).open("money")
    shown = page.evaluate("() => getComputedStyle(document.querySelector('.stApp')).backgroundColor")
    assert shown == ground


def test_every_view_opens_from_the_line_above_the_page(window):
    seen = window()
    seen.open("")
    assert seen.headline().startswith("With panels the last flats are ready ")
    headlines = {seen.headline()}
    for title in ("Development", "Programme", "Site", "Money", "Assumptions"):
        before = seen.headline()
        seen.page.get_by_role("link", name=title, exact=True).click()
        seen.wait_for_another(before)
        headlines.add(seen.headline())
    assert len(headlines) == 6
    assert seen.errors == []
    assert seen.strangers == []


def test_another_storey_count_changes_the_answer(editing):
    page, before = editing.page, editing.headline()
    storeys = page.get_by_label("Storeys", exact=True)
    storeys.fill(str(storeys_of(page) + 3))
    storeys.press("Enter")
    editing.wait_for_another(before)
    assert editing.headline().startswith("With panels the last flats are ready ")


def test_the_table_of_blocks_changes_the_answer_and_the_fields_below(editing):
    page, before = editing.page, editing.headline()
    wanted = str(storeys_of(page) + 3)
    grid = page.locator("[data-testid=stDataFrame] canvas").first
    grid.wait_for()
    page.wait_for_timeout(500)  # the table lays its columns out after it is there
    box = grid.bounding_box()
    page.mouse.dblclick(box["x"] + 0.33 * box["width"], box["y"] + 52)
    page.locator(".gdg-input").fill(wanted)
    page.keyboard.press("Enter")
    editing.wait_for_another(before)
    page.wait_for_function(
        "wanted => document.querySelector('input[aria-label=Storeys]').value === wanted", arg=wanted
    )


def test_a_bad_file_is_refused_with_every_problem_and_the_answer_stays(editing):
    page, before = editing.page, editing.headline()
    file = {"name": "wrong.toml", "mimeType": "application/toml", "buffer": BAD.encode()}
    page.locator("input[type=file]").set_input_files(file)
    page.locator(".sp-problems").wait_for()
    told = page.locator(".sp-problems").inner_text()
    assert "wrong.toml was not opened" in told
    assert "0 is outside 1 to 60 storeys" in told
    assert "atlantis" in told
    assert editing.headline() == before


def test_the_focus_of_the_keyboard_is_seen(editing):
    page = editing.page
    page.get_by_role("link", name="The case", exact=True).focus()
    page.keyboard.press("Tab")
    style = page.evaluate(
        "() => (style => style.outlineStyle + style.outlineWidth)(getComputedStyle(document.activeElement))"
    )
    assert style == "solid2px"


def test_the_date_moves_without_asking_the_server(window):
    seen = window()
    page = seen.open("")
    slider = page.locator(".elevation [role=slider], .elevation input[type=range]").first
    slider.wait_for()
    page.wait_for_timeout(500)  # what the page has to say on opening is said
    sent, shown = seen.sent, slider.get_attribute("aria-valuetext")
    slider.focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    assert slider.get_attribute("aria-valuetext") != shown
    page.wait_for_timeout(300)
    assert seen.sent == sent


def test_an_edit_of_one_window_is_not_seen_in_another(editing, window):
    before, more = editing.headline(), storeys_of(editing.page) + 1
    storeys = editing.page.get_by_label("Storeys", exact=True)
    storeys.fill(str(more))
    storeys.press("Enter")
    editing.wait_for_another(before)
    page = window().open("")
    assert "Heron 8" in page.locator(".sp-place").inner_text()


def test_the_premium_of_panels_sets_their_price_and_the_answer(window):
    seen = window()
    page, before = seen.open("money"), seen.headline()
    price = page.locator("input[aria-label^='Finished panels, set before the deck over: price']")
    premium = page.locator("input[aria-label^='Premium over what it replaces']").first
    replaced = float(price.input_value()) - float(premium.input_value())
    premium.fill("40")
    premium.press("Enter")
    seen.wait_for_another(before)
    seen.settle()
    assert float(price.input_value()) == replaced + 40
    assert seen.errors == []


def test_a_word_of_the_trade_explains_itself_and_the_money_fits_both_widths(window):
    for width in (1440, 390):
        page = window(viewport={"width": width, "height": 900}).open("money")
        word = page.locator("abbr", has_text="Net present value").first
        assert "hurdle" in word.get_attribute("title")
        inside = page.evaluate(
            "() => [...document.querySelectorAll('.sp-gauge-words, .sp-range-words, .sp-side-sums')]"
            ".every(one => one.getBoundingClientRect().right <= innerWidth)"
        )
        assert inside, width


def test_what_would_have_to_be_true_is_worked_out_on_the_page(window):
    seen = window()
    page = seen.open("money")
    page.get_by_role("button", name="Work out what would have to be true").click()
    page.get_by_text("would have to be", exact=True).wait_for(timeout=60_000)
    assert page.locator("th", has_text="Interest on the loan").count()
    assert seen.errors == []


def test_a_base_rate_typed_into_its_table_changes_the_answer(window):
    seen = window(viewport={"width": 1440, "height": 1600})
    page, before = seen.open("development"), seen.headline()
    page.locator("summary", has_text="Base rate and sale prices over time").click()
    table = page.locator("[data-testid=stDataFrame]").nth(1)
    table.scroll_into_view_if_needed()
    page.wait_for_timeout(1500)  # the table lays its columns out after it is there
    for share, words in ((0.3, "0"), (0.75, "9")):
        box = table.bounding_box()
        page.mouse.dblclick(box["x"] + share * box["width"], box["y"] + 52)
        page.locator(".gdg-input").fill(words)
        page.keyboard.press("Enter")
        if share < 0.5:
            page.get_by_text("One row lacks a figure and is not used yet.").wait_for()
            assert seen.headline() == before
    seen.wait_for_another(before)
