"""The charts: what is drawn is what the frame holds, in the method's own marks, and said in words."""

from itertools import pairwise

import pandas as pd
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.parts import charts, climbs, theme
from dashboard.parts.strokes import money_words, stand_apart
from model.core.errors import RangeError

LIGHT = theme.tokens("light")
START = pd.Timestamp("2027-04-05")
METHODS = [("Panels", "panels"), ("Open frame", "open_frame"), ("Best open frame", "open_frame_best")]


def weeks(number):
    return START + pd.Timedelta(weeks=number)


def storeys(blocks=("Heron", "Teal"), count=4, methods=METHODS[:2]):
    rows = [
        (
            label,
            role,
            block,
            storey,
            stage,
            weeks(storey * (2 + m) + 5 * s),
            weeks(storey * (2 + m) + 5 * s + 2),
        )
        for m, (label, role) in enumerate(methods)
        for block in blocks
        for storey in range(1, count + 1)
        for s, stage in enumerate(("frame", "walls", "fitting out"))
    ]
    return pd.DataFrame(rows, columns=["method", "role", "block", "storey", "stage", "start", "finish"])


def weekly(column, methods=METHODS[:2]):
    rows = [
        (label, role, weeks(w), value + 10 * m)
        for m, (label, role) in enumerate(methods)
        for w, value in enumerate([3, 8, 21 + m, 13, 5])
    ]
    return pd.DataFrame(rows, columns=["method", "role", "week", column])


def hooks():
    rows = [
        (label, role, crane, weeks(w), used, 38.0)
        for label, role in METHODS[:2]
        for crane in ("North", "South")
        for w, used in enumerate([10.0, 19.0, 30.0])
    ]
    return pd.DataFrame(rows, columns=["method", "role", "crane", "week", "used", "available"])


def flows():
    rows = [
        (label, role, START + pd.DateOffset(months=m + 1), cost, receipts, debt)
        for label, role in METHODS[:2]
        for m, (cost, receipts, debt) in enumerate([(2e6, 0.0, 2e6), (1e6, 0.0, 3.1e6), (0.0, 4e6, 0.0)])
    ]
    return pd.DataFrame(rows, columns=["method", "role", "month_end", "cost", "receipts", "debt"])


ALL = [
    (climbs.storeys_against_time, climbs.say_storeys, storeys()),
    (charts.loads_by_week, charts.say_loads, weekly("loads")),
    (charts.hook_hours, charts.say_hook_hours, hooks()),
    (charts.cash, charts.say_cash, flows()),
]


def drawn(figure, role):
    return [trace for trace in figure.data if trace.meta == role]


@pytest.mark.parametrize(("draw", "say", "frame"), ALL)
@pytest.mark.parametrize("mode", theme.MODES)
def test_every_chart_keeps_the_ground_and_the_methods_colours(draw, say, frame, mode):
    colours = theme.tokens(mode)
    figure = draw(frame, colours)
    assert isinstance(figure, go.Figure)
    assert figure.layout.paper_bgcolor == figure.layout.plot_bgcolor == "rgba(0,0,0,0)"
    assert figure.layout.showlegend is False
    assert figure.layout.dragmode is False
    for role in ("panels", "open_frame"):
        lines = [trace for trace in drawn(figure, role) if trace.type == "scatter"]
        assert lines
        assert {trace.line.color for trace in lines} == {colours[role]}


@pytest.mark.parametrize(("draw", "say", "frame"), ALL)
def test_every_chart_says_itself_in_one_sentence(draw, say, frame):
    said = say(frame)
    assert "Panels" in said
    assert "Open frame" in said
    assert said.endswith(".")
    assert "nan" not in said


@pytest.mark.parametrize(("draw", "say", "frame"), ALL)
def test_an_empty_frame_and_a_lost_column_are_refused(draw, say, frame):
    with pytest.raises(RangeError, match=r"has no row"):
        draw(frame.iloc[:0], LIGHT)
    with pytest.raises(RangeError, match=r"lacks role.*It needs the columns method, role"):
        draw(frame.drop(columns="role"), LIGHT)
    with pytest.raises(RangeError, match=r"lacks method"):
        say(frame.drop(columns="method"))


@pytest.mark.parametrize(("draw", "say", "frame"), ALL)
def test_markup_in_a_method_name_is_shown_not_obeyed(draw, say, frame):
    figure = draw(frame.replace("Panels", "<b>P</b>"), LIGHT)
    words = [note.text for note in figure.layout.annotations]
    words += [
        text for trace in figure.data for text in (trace.hovertext if trace.hovertext is not None else ())
    ]
    assert not any("<b>P</b>" in text for text in words)
    assert any("&lt;b&gt;P&lt;/b&gt;" in text for text in words)


def test_rules_tell_the_methods_apart_without_colour():
    figure = charts.loads_by_week(weekly("loads", METHODS), LIGHT)
    (solid,), (double,), (dashed,) = (drawn(figure, role) for _, role in METHODS)
    assert solid.line.dash == double.line.dash == "solid"
    assert dashed.line.dash != "solid"
    core = figure.data[list(figure.data).index(double) + 1]
    assert core.line.color == LIGHT["ground"]
    assert core.line.width < double.line.width
    assert list(core.y) == list(double.y)


def test_line_of_balance_has_a_panel_for_each_method_of_each_of_six_blocks_on_one_time_axis():
    names = ["Heron", "Teal", "Swift", "Wren", "Plover", "Kite"]
    figure = climbs.storeys_against_time(storeys(names), LIGHT)
    panels = [figure.layout[f"yaxis{n}"] for n in ("", *range(2, 13))]
    for above, below in pairwise(panels):
        assert below.domain[1] < above.domain[0]
    assert all(figure.layout[f"xaxis{n}"].matches == "x" for n in range(2, 13))
    written = " ".join(str(note.text) for note in figure.layout.annotations)
    assert [name for name in names if f"<b>{name}</b>" in written] == names


def test_a_stage_climbs_through_the_finish_of_each_storey_and_says_who_where_when_and_why_then():
    frame = storeys(["Heron"]).assign(
        trade="Painters", gang="2 of 3", what="Decoration", why="cure", after="x"
    )
    figure = climbs.storeys_against_time(frame, LIGHT)
    walls = frame[(frame["method"] == "Panels") & (frame["stage"] == "walls")]
    (line,) = [
        trace
        for trace in figure.data
        if trace.hovertext
        and "Panels, walls" in trace.hovertext[0]
        and list(trace.x) == list(walls["finish"])
    ]
    assert list(line.y) == [1, 2, 3, 4]
    for word in (
        "Heron, storey 1",
        "24 May 2027 to 7 Jun 2027",
        "Painters, gang 2 of 3",
        "Decoration",
        "after x",
    ):
        assert word in line.hovertext[0], line.hovertext[0]


def test_pace_and_lag_are_written_over_each_panel():
    pace = pd.DataFrame(
        [(label, "Heron", 13.6, 4.0, START, START + pd.Timedelta(days=400)) for label, _role in METHODS[:2]],
        columns=["method", "block", "cycle_days", "lag_storeys", "start", "ready"],
    )
    figure = climbs.storeys_against_time(storeys(["Heron"]), LIGHT, pace)
    written = [str(note.text) for note in figure.layout.annotations]
    assert sum("13.6 days a storey" in words and "4 storeys of lag" in words for words in written) == 2


def test_a_block_of_one_storey_can_be_drawn():
    figure = climbs.storeys_against_time(storeys(["Lodge"], count=1), LIGHT)
    low, high = figure.layout.yaxis.range
    assert low < 1 < high


def test_the_busiest_week_is_named_with_its_figure():
    figure = charts.loads_by_week(weekly("loads"), LIGHT)
    assert "<b>Open frame</b> 32" in [note.text for note in figure.layout.annotations]
    said = charts.say_loads(weekly("loads"))
    assert "Open frame at most 32 loads in the week of 19 Apr 2027" in said


def test_loads_are_summed_in_words():
    assert "Panels at most 21 loads in the week of 19 Apr 2027, 50 in all" in charts.say_loads(
        weekly("loads")
    )


def test_a_weekly_line_is_as_wide_as_its_last_week():
    line = drawn(charts.loads_by_week(weekly("loads"), LIGHT), "panels")[0]
    assert pd.Timestamp(line.x[-1]) - pd.Timestamp(line.x[-2]) == pd.Timedelta(days=7)
    assert list(line.y) == [3, 8, 21, 13, 5, 5]


def test_a_week_with_no_work_at_all_can_be_drawn():
    frame = weekly("loads").assign(loads=0)
    assert charts.loads_by_week(frame, LIGHT).layout.yaxis.range[1] > 0


def test_hook_hours_say_the_fullest_week():
    # 30 h of 38 h = 78.9 %; two cranes of 59 h
    assert "Panels 118 h, 79 % of the hours there are in its fullest week" in charts.say_hook_hours(hooks())


def test_more_hook_hours_used_than_there_are_is_refused():
    frame = hooks().assign(available=25.0)
    with pytest.raises(
        RangeError, match=r"'North' uses 30 hook hours in the week of 19 Apr 2027, but has 25"
    ):
        charts.hook_hours(frame, LIGHT)


def test_costs_stand_below_zero_and_receipts_above():
    bars = [trace for trace in drawn(charts.cash(flows(), LIGHT), "panels") if trace.type == "bar"]
    receipts, costs = bars
    assert list(receipts.y) == [0, 0, 4]
    assert list(costs.y) == [-2, -1, 0]


def test_debt_says_its_peak_and_its_end():
    assert "Panels at most £3.1m on 5 Jun 2027, paid off by 5 Jul 2027" in charts.say_cash(flows())
    still = flows().assign(debt=[1e6, 2e6, 3e6] * 2)
    assert "not paid off in this span" in charts.say_cash(still)


@pytest.mark.parametrize(
    ("amount", "words"), [(3_120_000, "£3.1m"), (158_400, "£158k"), (950, "£950"), (-2_000_000, "−£2.0m")]
)
def test_money_is_said_in_the_unit_that_fits(amount, words):
    assert money_words(amount, "£") == words


@given(
    names=st.lists(
        st.tuples(st.floats(min_value=0, max_value=1), st.floats(min_value=0.05, max_value=0.4)),
        min_size=1,
        max_size=6,
        unique_by=lambda name: round(name[0], 3),
    )
)
def test_names_of_peaks_never_touch_each_other_or_a_leader(names):
    places, widths = [x for x, _ in names], [wide for _, wide in names]
    rows, left = stand_apart(places, widths)
    spans = [(x - w, x) if away else (x, x + w) for x, w, away in zip(places, widths, left, strict=True)]
    for i, (start, end) in enumerate(spans):
        for j, other in enumerate(spans):
            if i != j:
                assert rows[i] != rows[j] or end <= other[0] or other[1] <= start
                assert rows[j] < rows[i] or not start < places[j] < end


def test_the_toolbar_with_its_links_is_off():
    assert charts.CONFIG["displayModeBar"] is False
    assert charts.CONFIG["displaylogo"] is False
