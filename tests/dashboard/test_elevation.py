"""The elevations: what state a storey is in, what is refused, and what the browser draws and says."""

import copy
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.parts import elevation as parts
from dashboard.parts import theme
from dashboard.parts.elevation import STATES, check, count_on, date_number, say, state_on
from dashboard.parts.marks import METHOD_MARKS
from model.core.errors import RangeError

HERE = Path(parts.__file__).parent
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
NODE = shutil.which("node")
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
needs_node = pytest.mark.skipif(NODE is None, reason="no node on this machine")

days = st.one_of(st.none(), st.integers(min_value=-50, max_value=900))
storeys = st.fixed_dictionaries(dict.fromkeys(STATES, days))


def block(name, count, begin, pace):
    states = [
        {
            "frame": begin + pace * s,
            "props": begin + pace * s + 3,
            "open": begin + pace * s + 25,
            "weathertight": begin + pace * (s + 3),
            "fitting": begin + pace * (s + 4),
            "finished": begin + pace * (s + 4) + 90,
            "lived": begin + pace * (count + 4) + 150,
        }
        for s in range(count)
    ]
    ready = begin + pace * (count + 4) + 140
    return {
        "name": name,
        "storeys": count,
        "width_m": 20.0,
        "storey_height_m": 3.1,
        "ready": ready,
        "states": states,
    }


def payload(blocks=(("Heron", 8), ("Teal", 14), ("Swift", 22)), day=330):
    methods = [
        {
            "label": label,
            "role": role,
            "blocks": [block(name, count, 60 + 40 * i, pace) for i, (name, count) in enumerate(blocks)],
            "cranes": [{"block": 0, "from": 50, "to": 200}],
        }
        for label, role, pace in (("Panels", "panels", 9), ("Open frame", "open_frame", 12))
    ]
    return {"start": "2027-04-05", "days": 700, "date": day, "methods": methods}


# --- in words -----------------------------------------------------------------------------------


def test_what_ends_at_midnight_was_done_the_day_before():
    # Time convention of the model: a finish of exactly 12.0 belongs to date 11
    assert [date_number(x) for x in (12.0, 12.001, 0.0, 0.5)] == [11, 12, 0, 0]


def test_an_instant_that_never_comes_is_refused():
    with pytest.raises(RangeError, match=r"An instant of inf is on no date"):
        date_number(float("inf"))


@given(storey=storeys, day=st.integers(min_value=-100, max_value=1000))
def test_a_storey_is_in_the_furthest_state_whose_day_has_come(storey, day):
    state = state_on(storey, day)
    come = [name for name in STATES if storey[name] is not None and storey[name] <= day]
    assert state == (come[-1] if come else "none")


@given(
    storey=storeys,
    day=st.integers(min_value=-100, max_value=1000),
    later=st.integers(min_value=0, max_value=500),
)
def test_a_storey_never_goes_back(storey, day, later):
    order = ("none", *STATES)
    assert order.index(state_on(storey, day + later)) >= order.index(state_on(storey, day))


def test_counts_add_up_to_all_storeys():
    method = payload()["methods"][0]
    for day in (0, 200, 330, 700):
        count = count_on(method, day)
        assert sum(count[state] for state in ("none", *STATES)) == count["storeys"] == 44
        assert count["closed"] == sum(count[s] for s in ("weathertight", "fitting", "finished", "lived"))


def test_the_elevations_are_said_in_one_sentence():
    shown = payload([("Heron", 8)])
    assert say(shown, 0) == (
        "On 5 April 2027, storeys: Panels: none lived in, 0 of 8 weathertight; "
        "Open frame: none lived in, 0 of 8 weathertight."
    )
    # Panels: begun on day 60, nine days a storey, closed three storeys later: day 60 + 27 is the first
    assert "Panels: none lived in, 1 of 8 weathertight" in say(shown, 87)


# --- what is refused ----------------------------------------------------------------------------


def spoil(**where):
    made = payload()
    first = made["methods"][0]
    for key, value in where.items():
        target = {"top": made, "method": first, "block": first["blocks"][0], "crane": first["cranes"][0]}
        part, name = key.split("__")
        target[part][name] = value
    return made


@pytest.mark.parametrize(
    ("shown", "message"),
    [
        (spoil(top__start="5 April"), r"'5 April' is not a start date\. Write it as YYYY-MM-DD"),
        (spoil(top__days=0), r"The span is 0 days, below 1"),
        (spoil(top__date="soon"), r"The date shown first is 'soon', which is not a number"),
        (spoil(top__methods=[]), r"There is no method to draw"),
        (spoil(method__role="red"), r"'red' is not a role that has a mark"),
        (spoil(block__name="Wren"), r"'Open frame' shows the blocks.*same blocks in the same order"),
        (spoil(block__storeys=61), r"'Heron' has 61 storeys; 1 to 60"),
        (spoil(block__storeys=9), r"'Heron' has 9 storeys but states for 8"),
        (spoil(block__width_m=0.0), r"'Heron': width_m is 0\.0\. Give a length above 0 m"),
        (spoil(block__ready=float("nan")), r"'Heron': a day is nan, which is not a number"),
        (spoil(crane__block=3), r"A crane stands at block 3, but blocks are counted from 0 to 2"),
        (spoil(crane__to=None), r"The hire of a crane, 'to', is None"),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_a_reason(shown, message):
    with pytest.raises(RangeError, match=message):
        check(shown)


def test_an_unknown_state_names_the_known_ones():
    shown = payload()
    shown["methods"][1]["blocks"][2]["states"][0]["painted"] = 5
    with pytest.raises(RangeError, match=r"'Swift' names the states \['painted'\].*frame, props, open"):
        check(shown)


# --- the script agrees with the words -----------------------------------------------------------


def test_script_and_marks_name_the_same_rules():
    script = (HERE / "elevation.js").read_text(encoding="utf-8")
    for role, known in METHOD_MARKS.items():
        assert f'{role}: "{known.rule.replace("_", "-")}"' in script


@needs_node
def test_the_script_counts_as_python_does(tmp_path):
    shutil.copy(HERE / "elevation.js", tmp_path / "elevation.mjs")
    shown = payload()
    shown["methods"][0]["blocks"][0]["states"][0] |= {"lived": None, "open": None}
    asked = [0, 61, 87, 200, 330, 411.5, 700]
    code = (
        "import {countOn, longDate, dateOn} from './elevation.mjs';"
        f"const p = {json.dumps(shown)};"
        "const said = (d) => [p.methods.map((m) => countOn(m, d)), longDate(dateOn(p.start, d))];"
        f"console.log(JSON.stringify({asked}.map(said)))"
    )
    (tmp_path / "ask.mjs").write_text(code, encoding="utf-8")
    ran = subprocess.run(
        [NODE, "ask.mjs"], cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60
    )
    answers = json.loads(ran.stdout)
    assert [[count_on(m, d) for m in shown["methods"]] for d in asked] == [counts for counts, _ in answers]
    assert answers[0][1] == "Monday 5 April 2027"
    assert answers[-1][1] == "Monday 5 March 2029"  # 700 days are 100 weeks


# --- in the browser -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser():
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, headless=True, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def show(browser):
    """Open the drawing alone on a page of some width and return the page; it must log no error."""
    opened, errors = [], []

    def place(shown, width=1200, **context):
        page = browser.new_context(viewport={"width": width, "height": 900}, **context).new_page()
        opened.append(page)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
        script = (HERE / "elevation.js").read_text(encoding="utf-8")
        data = json.dumps(shown).replace("<", "\\u003c")
        page.set_content(
            f"<!doctype html><style>{theme.variables()}:root{{color-scheme:light dark}}body{{margin:0}}"
            f"{(HERE / 'elevation.css').read_text(encoding='utf-8')}</style>"
            f'<div id="host"><div class="elevation"></div></div><script type="module">{script}\n'
            f"const host = document.getElementById('host');"
            f"window.draw = (data) => component({{data, parentElement: host}}); window.draw({data});</script>"
        )
        page.wait_for_selector("svg.drawing .ground", state="attached")
        page.wait_for_function("document.querySelector('.hidden table') !== null")
        return page

    yield place
    for page in opened:
        page.context.close()
    assert errors == []


@needs_browser
def test_the_slider_moves_the_date_by_weeks_from_the_keyboard(show):
    page = show(payload(day=330))
    slider = page.locator("input[type=range]")
    assert slider.get_attribute("aria-valuetext") == "Tuesday 29 February 2028"
    slider.focus()
    page.keyboard.press("ArrowRight")
    assert slider.get_attribute("aria-valuetext") == "Tuesday 7 March 2028"
    page.keyboard.press("Shift+ArrowLeft")
    assert slider.get_attribute("aria-valuetext") == "Monday 6 March 2028"
    page.keyboard.press("Home")
    assert page.locator(".calendar").inner_text() == "5 April 2027"
    assert page.locator(".count").all_inner_texts() == ["none lived in, 0 of 44 weathertight"] * 2


@needs_browser
def test_storeys_are_drawn_in_the_state_they_are_in(show):
    shown = payload(day=330)
    page = show(shown)
    for place, method in enumerate(shown["methods"]):
        count = count_on(method, 330)
        sheet = page.locator(".sheet").nth(place)
        assert sheet.locator("path.none").count() == count["none"]
        assert sheet.locator("path.props").count() == count["props"]
        assert sheet.locator("path.columns").count() == count["frame"] + count["props"] + count["open"]
        for state in ("weathertight", "fitting", "finished", "lived"):
            assert sheet.locator(f"path.wall.{state}").count() == count[state]


@needs_browser
def test_cranes_stand_only_while_on_hire(show):
    page = show(payload(day=100))
    assert page.locator(".standing[visibility=visible]").count() == 2
    page.locator("input[type=range]").fill("201")
    assert page.locator(".standing[visibility=visible]").count() == 0


@needs_browser
def test_the_date_stays_where_the_reader_left_it(show):
    shown = payload(day=330)
    page = show(shown)
    page.locator("input[type=range]").fill("250")
    changed = copy.deepcopy(shown)
    changed["methods"][0]["blocks"][0]["ready"] += 7
    for data in (shown, changed):
        page.evaluate("(data) => { window.draw(data) }", data)
        page.wait_for_selector("svg.drawing .ground", state="attached")
        assert page.locator("input[type=range]").input_value() == "250"


@needs_browser
def test_play_runs_and_pause_holds(show):
    page = show(payload(day=0))
    button, slider = page.locator("button.play"), page.locator("input[type=range]")
    before = page.locator("[aria-live]").text_content()
    button.click()
    page.wait_for_function("document.querySelector('input[type=range]').value > 20")
    assert button.inner_text() == "Pause"
    assert page.locator("[aria-live]").text_content() == before  # silent while playing
    button.click()
    held = slider.input_value()
    page.wait_for_function("(b) => document.querySelector('[aria-live]').textContent !== b", arg=before)
    assert slider.input_value() == held


@needs_browser
def test_who_asks_for_less_motion_gets_steps_of_four_weeks(show):
    page = show(payload(day=0), reduced_motion="reduce")
    page.locator("button.play").click()
    assert page.locator("input[type=range]").input_value() == "28"
    page.wait_for_function("document.querySelector('input[type=range]').value === '56'")


@needs_browser
def test_the_drawing_is_told_as_a_table(show):
    shown = payload(day=330)
    page = show(shown)
    rows = page.locator(".hidden tbody tr")
    assert rows.count() == 6
    cells = rows.nth(0).locator("th, td").all_text_contents()
    one = {"blocks": shown["methods"][0]["blocks"][:1]}
    count = count_on(one, 330)
    assert cells[:2] == ["Panels", "Heron"]
    assert [int(cell) for cell in cells[2:10]] == [count[state] for state in ("none", *STATES)]


MANY = [("Heron", 8), ("Teal House", 14), ("Swift", 22), ("Wren", 2), ("Plover Court", 10), ("Kite", 60)]


@needs_browser
@pytest.mark.parametrize("blocks", [[("Lodge", 1)], MANY[:3], MANY, [("Tower", 60)]])
@pytest.mark.parametrize("width", [390, 820, 1200])
def test_nothing_scrolls_sideways_or_leaves_the_sheet(show, blocks, width):
    page = show(payload(blocks), width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    outside = page.evaluate(
        """() => [...document.querySelectorAll('svg.drawing')].flatMap((svg) => {
            const frame = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('path, text')].filter((part) => {
                const box = part.getBoundingClientRect();
                return box.width > 0 && (box.left < frame.left - 1 || box.right > frame.right + 1 ||
                    box.top < frame.top - 1 || box.bottom > frame.bottom + 1);
            }).map((part) => part.getAttribute('class') + ' ' + part.textContent);
        })"""
    )
    assert outside == []


@needs_browser
def test_sheets_stand_one_under_the_other_on_a_telephone_and_side_by_side_on_a_desk(show):
    tops = "[...document.querySelectorAll('.sheet')].map((sheet) => sheet.getBoundingClientRect().top)"
    first, second = show(payload(), width=390).evaluate(tops)
    assert second > first + 200
    first, second = show(payload(), width=1200).evaluate(tops)
    assert first == second


@needs_browser
def test_markup_in_a_block_name_stays_text(show):
    page = show(payload([("<img src=x onerror=boom()>", 4)]))
    assert page.locator("img").count() == 0
    assert page.locator("svg.drawing .name").first.text_content() == "<img src=x onerror=boom()>"


@needs_browser
def test_the_drawing_follows_light_and_dark(show):
    colour = "getComputedStyle(document.querySelector('.head h3')).color"
    light = show(payload()).evaluate(colour)
    dark = show(payload(), color_scheme="dark").evaluate(colour)
    assert (light, dark) == ("rgb(13, 109, 102)", "rgb(88, 189, 176)")


# --- on the page --------------------------------------------------------------------------------


def test_the_page_takes_the_drawing_without_error():
    from streamlit.testing.v1 import AppTest

    def script(shown):
        from dashboard.parts.elevation import elevation

        elevation(shown, key="elevation")

    page = AppTest.from_function(script, kwargs={"shown": payload()}, default_timeout=30).run()
    assert not page.exception
    assert len(page.main.children) == 1
