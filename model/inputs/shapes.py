"""What may stand in each table of a scenario file?

One pydantic model for each table, every key with its limits, its unit and the reason for them. The
limits bound what the form can mean, not what is likely. `model.inputs.faults` puts breaches into words.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from model.inputs.wording import figure, in_unit

EARLIEST: Final = dt.date(2015, 1, 1)
LATEST: Final = dt.date(2045, 12, 31)
"""First and last start on site: prices and outputs are of about 2015 on, climate of the recent past."""


@dataclass(frozen=True)
class Wanted:
    """What a key takes, in words, for the messages."""

    words: str
    unit: str = ""
    least: Any = None
    most: Any = None
    why: str = ""
    example: str = ""
    inner: type[BaseModel] | None = None

    def __str__(self) -> str:
        if self.least is None:
            return self.words
        return f"{self.words} from {figure(self.least)} to {figure(self.most)}{in_unit(self.unit)}"


def _extra(wanted: Wanted) -> Any:
    return {"wanted": wanted}


def _number(least: float, most: float, unit: str, why: str) -> Any:
    wanted = Wanted("a number", unit, least, most, why)
    return Field(default=None, ge=least, le=most, json_schema_extra=_extra(wanted))


def _count(
    least: int, most: int, unit: str, why: str, example: str = "", *, default: int | None = None
) -> Any:
    wanted = Wanted("a whole number", unit, least, most, why, example)
    return Field(default=... if example else default, ge=least, le=most, json_schema_extra=_extra(wanted))


def _words(most: int, why: str, example: str = "", *, default: Any = "", least: int = 0) -> Any:
    wanted = Wanted("text", "characters", max(least, 1), most, why, example)
    return Field(
        default=... if example else default,
        min_length=least,
        max_length=most,
        json_schema_extra=_extra(wanted),
    )


def _other(words: str, default: Any = ..., **more: Any) -> Any:
    length = {key: more.pop(key) for key in ("min_length", "max_length") if key in more}
    extra = _extra(Wanted(words, **more))
    if isinstance(default, (list, dict)):
        return Field(default_factory=type(default), json_schema_extra=extra, **length)
    return Field(default=default, json_schema_extra=extra, **length)


def _path(why: str, example: str) -> Any:
    return _other("a list of pairs of numbers", [], why=why, example=f"[{example}]", max_length=240)


def as_date(value: Any) -> Any:
    """Turn the text of a date into a date; refuse a time of day."""
    if isinstance(value, dt.datetime) or not isinstance(value, (str, dt.date)):
        raise PydanticCustomError("not_a_date", "not a date")
    if isinstance(value, dt.date):
        return value
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value) is None:
        raise PydanticCustomError("not_a_date", "not a date")
    try:
        return dt.date.fromisoformat(value)
    except ValueError:
        raise PydanticCustomError("not_a_date", "not a date") from None


def _tidy(value: Any) -> Any:
    """Drop white space at both ends and carriage returns before line feeds."""
    return value.replace("\r\n", "\n").strip() if isinstance(value, str) else value


def _one_line(value: str) -> str:
    """Refuse what would break a line, a table or a file name: control characters."""
    if any(unicodedata.category(character) in ("Cc", "Zl", "Zp") for character in value):
        raise PydanticCustomError("not_one_line", "control characters")
    return value


def lines(value: str) -> str:
    """Refuse control characters other than the line feed and the tab."""
    _one_line(value.replace("\n", "").replace("\t", ""))
    return value


def _identifier(value: str) -> str:
    if re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]*", value) is None:
        raise PydanticCustomError("not_an_id", "not an id")
    return value


_Date = Annotated[dt.date, BeforeValidator(as_date)]
_Line = Annotated[str, BeforeValidator(_tidy), AfterValidator(_one_line)]
_Text = Annotated[str, BeforeValidator(_tidy), AfterValidator(lines)]
_Id = Annotated[str, BeforeValidator(_tidy), AfterValidator(_identifier)]

_STOREYS_WHY: Final = "They are counted from the ground; the outputs in the library end at 60."
_PLATE_WHY: Final = "Smaller is no floor of flats, larger is more than one building."
_FACADE_WHY: Final = "It is the outside wall of one storey, on plan."
_WALL_WHY: Final = "It is the length of walls between flats on one storey, on plan."
DATE_WHY: Final = "Prices, outputs and climate are known for these years."


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class DevelopmentTable(_Table):
    name: _Line = _words(120, "It stands on every page.", 'name = "Sample Yard"', least=1)
    place: _Line = _words(60, "It fixes climate and bank holidays.", 'place = "london"', least=1)
    start: _Date = _other("a date", least=EARLIEST, most=LATEST, why=DATE_WHY, example="start = 2027-04-05")
    purchase: _Date | None = _other("a date", None, least=dt.date(2005, 1, 1), most=LATEST, why=DATE_WHY)
    client: _Line = _words(120, "It is printed only.")
    terrain: _Line = _words(20, "It sets the wind at the hook.", default="town", least=1)
    priority: _Line = _words(20, "It sets whose work goes first.", default="together", least=1)
    christmas_closure: bool = _other("true or false", True)
    bank_holidays: bool = _other("true or false", True)
    extra_closed: list[_Date] = _other(
        "a list of dates", [], least=EARLIEST, most=dt.date(2065, 12, 31), why=DATE_WHY, max_length=1000
    )
    late_adoption: bool = _other("true or false", False)
    tenure: _Line = _words(20, "It sets how the flats earn.", default="sale", least=1)
    rent_exit: _Line = _words(20, "It sets when flats let are sold whole.", default="stabilised", least=1)
    longstop: _Date | None = _other("a date", None, least=EARLIEST, most=dt.date(2065, 12, 31), why=DATE_WHY)
    base_rate_path: list[list[float]] = _path(
        "It is the month after start on site, and the base rate from then, % a year.", "[0, 3.75], [12, 3.25]"
    )
    price_path: list[list[float]] = _path(
        "It is the month after start on site, and prices then over those of today, %.", "[0, 100], [24, 104]"
    )


class StoreysTable(_Table):
    storeys: list[int] = _other(
        "two whole numbers, first and last storey",
        example="storeys = [1, 2]",
        why="Both storeys are included; the ground is 1.",
        min_length=2,
        max_length=2,
    )
    flats_per_storey: int | None = _count(1, 40, "flats", "One plate of flats shares its cores.")
    plate_area_m2: float | None = _number(50, 20_000, "m2", _PLATE_WHY)
    facade_length_m: float | None = _number(10, 2000, "m", _FACADE_WHY)
    separating_length_m: float | None = _number(0, 5000, "m", _WALL_WHY)


class SectionTable(_Table):
    storeys: list[int] = _other(
        "two whole numbers, first and last storey",
        example="storeys = [1, 6]",
        why="Both storeys are included; the ground is 1.",
        min_length=2,
        max_length=2,
    )
    own_stair: bool = _other("true or false", False)
    own_lift: bool = _other("true or false", False)
    own_riser: bool = _other("true or false", False)
    own_access: bool = _other("true or false", False)


class BlockTable(_Table):
    name: _Line | None = _words(60, "It tells the block from the others.", default=None, least=1)
    storeys: int = _count(1, 60, "storeys", _STOREYS_WHY, "storeys = 8")
    flats_per_storey: int = _count(
        1, 40, "flats", "One plate of flats shares its cores.", "flats_per_storey = 9"
    )
    start_weeks: float | None = _number(0, 520, "weeks", "It is counted from the start on site.")
    storey_height_m: float | None = _number(2.4, 6, "m", "It is measured floor to floor.")
    flat_area_m2: float | None = _number(10, 1000, "m2", "It is the net internal area of one flat.")
    plate_depth_m: float | None = _number(5, 60, "m", "It is measured across the plate, wall to wall.")
    plate_area_m2: float | None = _number(50, 20_000, "m2", _PLATE_WHY)
    facade_length_m: float | None = _number(10, 2000, "m", _FACADE_WHY)
    glazing_pct: float | None = _number(0, 100, "%", "It is the share of the facade that is opening.")
    separating_length_m: float | None = _number(0, 5000, "m", _WALL_WHY)
    zones: int | None = _count(1, 20, "zones", "It is the pours that make up one slab.")
    cores: int | None = _count(1, 10, "cores", "A block needs a stair, and lifts beside it.")
    hoists: int | None = _count(0, 4, "hoists", "They stand against the facade of one block.")
    substructure_weeks: float | None = _number(0, 260, "weeks", "It covers piling to ground slab.")
    price_gbp_m2: float | None = _number(0, 100_000, "GBP/m2", "It is per m2 of net internal area.")
    ranges: list[StoreysTable] = _other("[[blocks.ranges]] tables", [], inner=StoreysTable, max_length=60)
    handover: _Line = _words(20, "It sets what is handed over at once.", default="block", least=1)
    tenure: _Line | None = _words(20, "It sets how the flats earn.", default=None, least=1)
    sections: list[SectionTable] = _other("[[blocks.sections]] tables", [], inner=SectionTable, max_length=60)


class CraneTable(_Table):
    name: _Line | None = _words(60, "It tells the crane from the others.", default=None, least=1)
    blocks: list[_Line] = _other(
        "a list of block names",
        example='blocks = ["East"]',
        why="A crane serves at least one block.",
        min_length=1,
        max_length=40,
    )
    number: int = _count(
        1, 4, "cranes", "It is the tower cranes working together on these blocks.", default=1
    )


class MethodTable(_Table):
    id: _Id = _words(40, "Results are listed under it.", 'id = "panelised"', least=1)
    like: _Line | None = _words(40, "It is the method this one is made from.", default=None, least=1)
    label: _Line | None = _words(60, "It is how pages write the method.", default=None, least=1)
    options: dict[str, _Line] = _other("a table of element = option", {})
    overrides: dict[str, Any] = _other("a table of library key = number", {})


class SettingTable(_Table):
    value: float
    why: _Text = _words(500, "It is the reason for the value.")


SHAPES: Final[dict[str, type[BaseModel]]] = {
    "development": DevelopmentTable,
    "blocks": BlockTable,
    "ranges": StoreysTable,
    "sections": SectionTable,
    "cranes": CraneTable,
    "methods": MethodTable,
}
WRITTEN: Final = {
    "development": "[development]",
    "blocks": "[[blocks]]",
    "ranges": "[[blocks.ranges]]",
    "sections": "[[blocks.sections]]",
    "cranes": "[[cranes]]",
    "methods": "[[methods]]",
}
MOST_ROWS: Final = {"blocks": 40, "cranes": 40, "methods": 8}
