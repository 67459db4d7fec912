"""The look: tokens, marks, fonts, the shipped configuration and the escaping of everything said."""

import re
import struct
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.parts import theme
from dashboard.parts.marks import METHOD_MARKS, assign_roles, mark
from dashboard.parts.theme import Figure, Html
from model.core.errors import RangeError

DASHBOARD = Path(theme.__file__).resolve().parent.parent
CONFIG = tomllib.loads((DASHBOARD / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
WEIGHTS = {"Regular": 400, "Medium": 500, "SemiBold": 600, "Bold": 700}
HEX = st.integers(min_value=0, max_value=0xFFFFFF).map(lambda n: f"#{n:06X}")


# --- colours ------------------------------------------------------------------------------------


def test_contrast_of_mid_grey_on_white_is_the_worked_value():
    # WCAG 2.2 formula by hand: L(#777777) = ((119/255 + 0.055)/1.055)^2.4 = 0.18448; 1.05/0.23448 = 4.478
    assert theme.contrast("#777777", "#FFFFFF") == pytest.approx(4.478, abs=5e-4)


@pytest.mark.parametrize("mode", theme.MODES)
@pytest.mark.parametrize("name", ["ink", "quiet", *METHOD_MARKS])
def test_every_colour_that_carries_words_stands_out_as_text_must(mode, name):
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text
    colours = theme.tokens(mode)
    assert theme.contrast(colours[name], colours["ground"]) >= 4.5


@pytest.mark.parametrize("mode", theme.MODES)
def test_ten_chart_colours_all_differ_and_stand_out_as_shapes_must(mode):
    # WCAG 2.2, 1.4.11: 3 to 1 for graphical objects
    colours = theme.chart_colours(mode)
    assert len(set(colours)) == 10
    assert min(theme.contrast(colour, theme.tokens(mode)["ground"]) for colour in colours) >= 3


@given(colour=HEX, other=HEX)
def test_a_mixture_of_all_or_nothing_is_one_of_the_two(colour, other):
    assert theme.mix(colour, other, 1) == colour
    assert theme.mix(colour, other, 0) == other


def test_a_colour_in_short_form_is_refused():
    with pytest.raises(RangeError, match=r"'#123' is not a colour.*six hexadecimal digits"):
        theme.mix("#123", "#FFFFFF", 0.5)


def test_a_share_above_one_is_refused():
    with pytest.raises(RangeError, match=r"A share of 1\.5 cannot be mixed.*from 0 to 1"):
        theme.mix("#000000", "#FFFFFF", 1.5)


def test_an_unknown_mode_is_refused_and_an_unsaid_one_is_light():
    with pytest.raises(RangeError, match=r"'dusk' is not a mode.*'light' or 'dark'"):
        theme.tokens("dusk")
    assert theme.tokens(None) == theme.tokens("light")


# --- marks --------------------------------------------------------------------------------------


def test_each_role_has_a_rule_of_its_own():
    assert len({known.rule for known in METHOD_MARKS.values()}) == len(METHOD_MARKS)
    assert len({(known.dash, known.width, known.hollow) for known in METHOD_MARKS.values()}) == len(
        METHOD_MARKS
    )


def test_ready_methods_keep_their_marks_in_any_order():
    roles = assign_roles(["open_frame_best", "panelised", "open_frame"])
    assert [mark(role).rule for role in roles] == ["dashed", "bar", "double"]


def test_a_method_compared_with_itself_gets_a_second_mark():
    assert assign_roles(["open_frame", "open_frame"]) == ["open_frame", "fourth"]


@given(
    likes=st.lists(
        st.sampled_from(["panelised", "open_frame", "open_frame_best", "other"]), min_size=1, max_size=6
    )
)
def test_no_two_methods_share_a_mark(likes):
    roles = assign_roles(likes)
    assert len(roles) == len(likes) == len(set(roles))
    assert set(roles) <= set(METHOD_MARKS)


def test_more_methods_than_marks_are_refused():
    with pytest.raises(RangeError, match=r"7 methods were to be drawn together; 1 to 6"):
        assign_roles(["panelised"] * 7)


def test_an_unknown_role_names_the_known_ones():
    with pytest.raises(RangeError, match=r"'hybrid' is not a role.*panels, open_frame, open_frame_best"):
        mark("hybrid")


# --- configuration ------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", theme.MODES)
def test_the_shipped_theme_repeats_the_tokens(mode):
    colours, shipped = theme.tokens(mode), CONFIG["theme"][mode]
    assert shipped["backgroundColor"] == colours["ground"]
    assert shipped["secondaryBackgroundColor"] == colours["wash"]
    assert shipped["textColor"] == colours["ink"]
    assert shipped["borderColor"] == colours["hairline"]
    assert shipped["chartCategoricalColors"] == theme.chart_colours(mode)


def test_the_page_is_private_and_local():
    assert CONFIG["server"]["address"] == "127.0.0.1"
    assert CONFIG["server"]["allowedHosts"] == ["localhost", "127.0.0.1"]
    assert CONFIG["server"]["maxUploadSize"] == 20
    assert CONFIG["browser"]["gatherUsageStats"] is False
    assert CONFIG["client"]["toolbarMode"] == "minimal"
    assert CONFIG["client"]["showErrorDetails"] == "none"


def test_every_font_face_is_a_file_that_the_page_serves():
    assert CONFIG["server"]["enableStaticServing"] is True
    faces = CONFIG["theme"]["fontFaces"]
    assert {int(face["weight"]) for face in faces} == set(WEIGHTS.values())
    for face in faces:
        path = DASHBOARD / face["url"].removeprefix("app/")
        assert path.read_bytes()[:4] == b"wOF2"  # W3C WOFF 2.0, 4.1: signature
        assert face["family"] == theme.FONT


# --- fonts --------------------------------------------------------------------------------------


def _tables(font: bytes) -> dict[str, bytes]:
    """Tables of an OpenType font (OpenType 1.9, "Table Directory")."""
    count = struct.unpack_from(">H", font, 4)[0]
    records = [struct.unpack_from(">4s3L", font, 12 + 16 * n) for n in range(count)]
    return {tag.decode(): font[start : start + length] for tag, _, start, length in records}


def _glyphs(cmap: bytes, letters: str) -> list[int]:
    """Glyph of each letter by the format 4 subtable of 'cmap'."""
    for n in range(struct.unpack_from(">H", cmap, 2)[0]):
        start = struct.unpack_from(">L", cmap, 4 + 8 * n + 4)[0]
        if struct.unpack_from(">H", cmap, start)[0] == 4:
            break
    size = struct.unpack_from(">H", cmap, start + 6)[0]
    found = []
    for letter in map(ord, letters):
        for segment in range(0, size, 2):
            last = struct.unpack_from(">H", cmap, start + 14 + segment)[0]
            if letter <= last:
                first = struct.unpack_from(">H", cmap, start + 16 + size + segment)[0]
                delta = struct.unpack_from(">H", cmap, start + 16 + 2 * size + segment)[0]
                where = start + 16 + 3 * size + segment
                offset = struct.unpack_from(">H", cmap, where)[0]
                if first > letter:
                    found.append(0)
                elif offset == 0:
                    found.append((letter + delta) & 0xFFFF)
                else:
                    found.append(struct.unpack_from(">H", cmap, where + offset + 2 * (letter - first))[0])
                break
    return found


def _single_substitutions(gsub: bytes, feature: str) -> dict[int, int]:
    """Glyph to glyph of every single substitution of a feature of 'GSUB'."""
    features, lookups = struct.unpack_from(">2H", gsub, 6)
    pairs: dict[int, int] = {}
    for n in range(struct.unpack_from(">H", gsub, features)[0]):
        tag, offset = struct.unpack_from(">4sH", gsub, features + 2 + 6 * n)
        if tag.decode() != feature:
            continue
        count = struct.unpack_from(">H", gsub, features + offset + 2)[0]
        for index in struct.unpack_from(f">{count}H", gsub, features + offset + 4):
            lookup = lookups + struct.unpack_from(">H", gsub, lookups + 2 + 2 * index)[0]
            kind, _, parts = struct.unpack_from(">3H", gsub, lookup)
            for part in struct.unpack_from(f">{parts}H", gsub, lookup + 6):
                start = lookup + part
                if kind == 7:  # extension
                    start += struct.unpack_from(">L", gsub, start + 4)[0]
                form, cover, third = struct.unpack_from(">3H", gsub, start)
                covered = _coverage(gsub, start + cover)
                if form == 1:
                    pairs |= {glyph: (glyph + third) & 0xFFFF for glyph in covered}
                else:
                    pairs |= dict(
                        zip(covered, struct.unpack_from(f">{third}H", gsub, start + 6), strict=True)
                    )
    return pairs


def _coverage(table: bytes, start: int) -> list[int]:
    form, count = struct.unpack_from(">2H", table, start)
    if form == 1:
        return list(struct.unpack_from(f">{count}H", table, start + 4))
    ranges = [struct.unpack_from(">3H", table, start + 4 + 6 * n) for n in range(count)]
    return [glyph for first, last, _ in ranges for glyph in range(first, last + 1)]


@pytest.mark.parametrize("weight", WEIGHTS)
def test_tabular_figures_are_all_of_one_width(weight):
    tables = _tables((theme.FONTS_FOLDER / f"Archivo-{weight}.ttf").read_bytes())
    figures = _glyphs(tables["cmap"], "0123456789")
    tabular = _single_substitutions(tables["GSUB"], "tnum")
    assert 0 not in figures
    full = struct.unpack_from(">H", tables["hhea"], 34)[0]  # number of full metrics

    def width(glyph: int) -> int:
        return struct.unpack_from(">H", tables["hmtx"], 4 * min(glyph, full - 1))[0]

    assert len({width(tabular.get(glyph, glyph)) for glyph in figures}) == 1
    assert len({width(glyph) for glyph in figures}) > 1  # so the feature is what lines them up


@pytest.mark.parametrize("weight", WEIGHTS)
def test_the_face_has_every_sign_the_pages_use(weight):
    tables = _tables((theme.FONTS_FOLDER / f"Archivo-{weight}.ttf").read_bytes())
    assert 0 not in _glyphs(tables["cmap"], "£€×²³°·–—’“”−→≤≥ŵŷÂâ")


@pytest.mark.parametrize("weight", WEIGHTS)
def test_each_file_says_its_own_weight(weight):
    tables = _tables((theme.FONTS_FOLDER / f"Archivo-{weight}.ttf").read_bytes())
    assert struct.unpack_from(">H", tables["OS/2"], 4)[0] == WEIGHTS[weight]


def test_the_licence_is_shipped_with_the_font():
    licence = (theme.FONTS_FOLDER / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence
    assert "The Archivo Project Authors" in licence


# --- the sheet ----------------------------------------------------------------------------------


def test_the_sheet_is_whole_and_names_only_known_colours():
    sheet = theme.css()
    assert sheet.startswith("<style>")
    assert sheet.endswith("</style>")
    assert sheet.count("{") == sheet.count("}")
    defined = set(re.findall(r"(--sp-[a-z-]+)\s*:", sheet))
    used = set(re.findall(r"var\((--sp-[a-z-]+)", sheet))
    assert used <= defined


def test_nothing_is_fetched_from_elsewhere():
    files = [
        *DASHBOARD.glob("parts/*.css"),
        *DASHBOARD.glob("parts/*.js"),
        DASHBOARD / ".streamlit" / "config.toml",
    ]
    assert len(files) >= 4
    for path in files:
        found = re.findall(r"https?://[^\s\"')]+|@import|url\(", path.read_text(encoding="utf-8"))
        assert set(found) <= {"http://www.w3.org/2000/svg"}, path  # the name of a vocabulary, not a request


# --- what is said -------------------------------------------------------------------------------


MARKUP = "<script>alert('x')</script>&\""
SAID = [
    theme.sentence(MARKUP, under=[MARKUP]),
    theme.lead(MARKUP),
    theme.section(MARKUP, MARKUP),
    theme.caution(MARKUP),
    theme.method_name(MARKUP, "panels"),
    theme.method_key([(MARKUP, "open_frame")]),
    theme.figure_row([Figure(MARKUP, MARKUP, MARKUP, "panels")]),
    theme.table([MARKUP, MARKUP], [[MARKUP, MARKUP]], numeric=[1], roles={1: "panels"}, caption=MARKUP),
]


@pytest.mark.parametrize("said", SAID)
def test_markup_in_a_name_is_shown_not_obeyed(said):
    assert isinstance(said, Html)
    assert "<script" not in said
    assert "&lt;script&gt;alert(&#x27;x&#x27;)&lt;/script&gt;&amp;&quot;" in said


def test_a_sentence_keeps_the_method_names_made_here():
    said = theme.sentence("With ", theme.method_name("panels", "panels"), " 13 weeks sooner")
    assert 'With <span class="sp-m-panels sp-r-bar sp-name">panels</span> 13 weeks sooner' in said


def test_a_table_sets_numbers_right_and_marks_the_total():
    said = theme.table(["Element", "Hours"], [["Deck", "940"], ["All", "2,051"]], numeric=[1], total=True)
    assert '<td class="sp-number">940</td>' in said
    assert said.count('<tr class="sp-total">') == 1
    assert said.index("sp-total") > said.index("940")


def test_a_short_row_is_refused():
    with pytest.raises(RangeError, match=r"Row 2 of the table has 1 cells under 2 headings"):
        theme.table(["a", "b"], [["1", "2"], ["3"]])


def test_seven_headline_figures_are_refused():
    with pytest.raises(RangeError, match=r"7 headline figures were given.*1 to 6"):
        theme.figure_row([Figure("1", "one")] * 7)
