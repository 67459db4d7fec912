"""Re-check one method of an audit pack from its CSV files alone.

Written apart from the model: pandas and numpy only, nothing of the model is imported, and every rule is
worked another way than the scheduler works it. A check yields a sentence for each thing that does not
hold. Instants are days from 00:00 of the first date of ``calendars.csv``, the start on site; a finish of
exactly 12.0 belongs to date 11. The files carry six decimals; instants are compared to 1e-4 day.

    python tests/audit/recheck.py PACK/METHOD
"""

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

TOLERANCE_DAYS = 1e-4
"""What six decimals leave of sums of instants and shifts. [days]"""

PENNY = 0.01

COLUMNS = {
    "tasks": "task block section storey zone activity element option trade gang people calendar quantity "
    "unit amount work_days crane lift_class hook_hours start finish bound_by cost operative_days "
    "use hoist_hours face figures",
    "progress": "task date work_days hook_hours hoist_hours",
    "links": "before after lag lag_kind cause",
    "calendars": "calendar date fraction",
    "hook": "crane date ordinary_available large_available ordinary_used large_used evening_available",
    "hoist": "block date available used",
    "release": "release date days",
    "quantities": "block storey zone quantity unit amount",
    "loads": "date block material loads amount unit per_load delivery activity",
    "operatives": "date block trade operatives",
    "time_costs": "item start finish rate_per_week amount",
    "fixed_costs": "item kind start finish amount",
    "factory_payments": "step start finish amount",
    "receipts": "section kind month amount",
    "cashflow": "month ends_on construction premium preliminaries fees land receipts drawn_equity drawn_debt "
    "interest fees_finance repaid debt equity_out",
    "assumptions": "key label value low high unit evidence mark source shared overridden why",
}
"""Columns each file owes; more may stand behind them."""

_NAMES = (
    "task block section activity element option trade gang calendar quantity unit crane lift_class bound_by "
    "before after lag lag_kind cause release material delivery item kind key label evidence mark source "
    "shared overridden why date ends_on step use face figures"
)
TEXT = _NAMES.split()
"""Columns that hold words or dates, not figures."""

COST_LINES = ["construction", "premium", "preliminaries", "fees", "land"]
CAUSES = {"work", "wait", "cure", "back-prop", "deck set", "separation", "factory", "approval", "access"}


class Pack:
    """The files of one method, as frames, with what several checks ask of them."""

    def __init__(self, frames: dict[str, pd.DataFrame]) -> None:
        self.frames = frames
        self.first_date = pd.Timestamp(self["calendars"]["date"].iloc[0])
        assumptions = self["assumptions"]
        self.value = dict(zip(assumptions["key"], assumptions["value"], strict=True))
        tasks = self["tasks"]
        self.start = dict(zip(tasks["task"], tasks["start"], strict=True))
        self.finish = dict(zip(tasks["task"], tasks["finish"], strict=True))

    def __getitem__(self, file: str) -> pd.DataFrame:
        return self.frames[file]

    def day(self, dates: pd.Series) -> np.ndarray:
        """Number of each date, 0 for the start on site."""
        return (pd.to_datetime(dates) - self.first_date).dt.days.to_numpy()

    def with_frame(self, file: str, frame: pd.DataFrame) -> "Pack":
        """The pack with one file in place of its own."""
        return Pack({**self.frames, file: frame})

    def of_tasks(self, column: str, tasks: pd.Series) -> pd.Series:
        """A column of tasks.csv for each of some tasks."""
        return tasks.map(self["tasks"].set_index("task")[column])


def read_pack(folder: Path) -> Pack:
    """Read the folder of one method."""
    types = dict.fromkeys(TEXT, str)
    return Pack(
        {name: pd.read_csv(folder / f"{name}.csv", dtype=types, keep_default_na=False) for name in COLUMNS}
    )


def recheck(pack: Pack) -> list[str]:
    """Every check of a pack; empty if all holds."""
    missing = list(files_are_whole(pack))
    return missing or [fault for check in CHECKS for fault in check(pack)]


def _say(what: str, rows: pd.DataFrame, *columns: str) -> Iterator[str]:
    """One sentence for the first of some rows that do not hold, with how many there are."""
    if len(rows):
        row = rows.iloc[0]
        details = ", ".join(f"{column} {row[column]}" for column in columns)
        yield f"{what} ({details}; {len(rows)} such rows)"


def files_are_whole(pack: Pack) -> Iterator[str]:
    """Every column is there, every figure is a finite number."""
    for name, columns in COLUMNS.items():
        frame = pack[name]
        lacking = [column for column in columns.split() if column not in frame.columns]
        if lacking:
            yield f"{name}.csv lacks {', '.join(lacking)}"
            continue
        for column in columns.split():
            if column not in TEXT:
                figures = pd.to_numeric(frame[column], errors="coerce")
                if not np.isfinite(figures).all():
                    row = int((~np.isfinite(figures)).argmax())
                    yield f"{name}.csv holds no finite number in {column}, row {row}"
    if pack["tasks"]["task"].duplicated().any():
        yield "a task stands twice in tasks.csv"


def links_are_kept(pack: Pack) -> Iterator[str]:
    """Nothing starts before what it follows has finished and the lag has passed."""
    links = pack["links"].copy()
    links["from"] = links["before"].map(pack.finish)
    links["to"] = links["after"].map(pack.start)
    yield from _say(
        "a link names no task", links[links[["from", "to"]].isna().any(axis=1)], "before", "after"
    )
    yield from _say("a link has no known cause", links[~links["cause"].isin(CAUSES)], "before", "cause")
    unknown = ~links["lag_kind"].isin(["calendar", "working", "release"])
    yield from _say("a link has no known kind of lag", links[unknown], "before", "lag_kind")
    links["gap"] = links["to"] - links["from"]

    calendar = links[links["lag_kind"] == "calendar"]
    short = calendar["gap"] < calendar["lag"].astype(float) - TOLERANCE_DAYS
    yield from _say("a link is not kept: calendar lag", calendar[short], "before", "after", "lag", "gap")

    working = links[links["lag_kind"] == "working"]
    passed = _open_time(pack, working["to"]) - _open_time(pack, working["from"])
    late = (passed < working["lag"].astype(float) - TOLERANCE_DAYS) | (working["gap"] < -TOLERANCE_DAYS)
    yield from _say("a link is not kept: working lag", working[late], "before", "after", "lag", "gap")

    release = links[links["lag_kind"] == "release"].copy()
    release["owed"] = np.inf
    for kind, table in pack["release"].groupby("release"):
        days = table.sort_values("date")["days"].to_numpy()
        mine = release["lag"] == kind
        for nudge in (-1e-5, 1e-5):  # a finish on midnight may have been rounded over it
            date = np.ceil(release.loc[mine, "from"].to_numpy() + nudge).astype(int) - 1
            owed = days[np.clip(date, 0, days.size - 1)]
            release.loc[mine, "owed"] = np.minimum(release.loc[mine, "owed"], owed)
    early = release["gap"] < release["owed"] - TOLERANCE_DAYS
    yield from _say("a link is not kept: release", release[early], "before", "after", "lag", "owed", "gap")


def _open_time(pack: Pack, instants: pd.Series) -> np.ndarray:
    """Open dates that have passed at each instant, a date in hand by its part."""
    calendars = pack["calendars"]
    site = calendars[calendars["calendar"] == "site"].sort_values("date")
    passed = np.concatenate([[0.0], np.cumsum(site["fraction"].to_numpy() > 0)])
    return np.interp(instants, np.arange(passed.size), passed)


def gangs_are_in_one_place(pack: Pack) -> Iterator[str]:
    """A gang, unique on the site, does one task at a time, and works for one trade."""
    tasks = pack["tasks"]
    work = tasks["work_days"] > 0
    yield from _say("a task with work has no gang", tasks[work & (tasks["gang"] == "")], "task")
    yield from _say("a gang is given to no work", tasks[~work & (tasks["gang"] != "")], "task", "gang")
    busy = tasks[work].sort_values(["gang", "start"])
    same = busy["gang"] == busy["gang"].shift()
    over = same & (busy["start"] < busy["finish"].shift() - TOLERANCE_DAYS)
    yield from _say("a gang is in two places", busy[over], "gang", "task", "start")
    trades = busy.groupby("gang")["trade"].nunique()
    if (trades > 1).any():
        yield f"a gang works for two trades ({trades[trades > 1].index[0]})"


def hook_classes_hold(pack: Pack) -> Iterator[str]:
    """On every date large loads fit the hours in which they may fly, and all lifts fit the hours of all."""
    hook = pack["hook"]
    more = hook["large_available"] > hook["ordinary_available"] + 1e-6
    yield from _say("large loads may fly longer than ordinary ones", hook[more], "crane", "date")
    large = hook["large_used"] > hook["large_available"] + TOLERANCE_DAYS
    yield from _say(
        "large loads fly beyond their hours", hook[large], "crane", "date", "large_used", "large_available"
    )
    evening = np.minimum(hook["evening_available"], _other_lifts(pack))  # used first by those who may
    by_day = hook["large_used"] + hook["ordinary_used"] - evening
    both = by_day > hook["ordinary_available"] + TOLERANCE_DAYS
    yield from _say("the hook works beyond its hours", hook[both], "crane", "date", "ordinary_available")
    negative = (hook[["ordinary_used", "large_used", "large_available"]] < 0).any(axis=1)
    yield from _say("hook hours below nothing", hook[negative], "crane", "date")


def _other_lifts(pack: Pack) -> np.ndarray:
    """Hours of ordinary lifts of neither frame nor panels, for each row of hook.csv."""
    moved = pack["progress"].query("hook_hours > 0").copy()
    for column in ("crane", "use", "lift_class"):
        moved[column] = pack.of_tasks(column, moved["task"])
    other = moved[(moved["use"] == "other") & (moved["lift_class"] == "ordinary")]
    hours = other.groupby(["crane", "date"])["hook_hours"].sum()
    rows = pd.MultiIndex.from_frame(pack["hook"][["crane", "date"]])
    return hours.reindex(rows, fill_value=0.0).to_numpy()


def hoists_hold(pack: Pack) -> Iterator[str]:
    """Hoists carry what moved, evenly over the work, and no longer than their hours."""
    hoist, progress = pack["hoist"], pack["progress"].copy()
    over = hoist["used"] > hoist["available"] + TOLERANCE_DAYS
    yield from _say("a hoist works beyond its hours", hoist[over], "block", "date", "used", "available")
    progress["block"] = pack.of_tasks("block", progress["task"])
    moved = progress[progress["hoist_hours"] > 0].groupby(["block", "date"])["hoist_hours"].sum()
    gap = hoist.set_index(["block", "date"])["used"].sub(moved, fill_value=0).abs()
    if gap.max() > TOLERANCE_DAYS:
        yield f"hoist hours are not those of the tasks ({gap.idxmax()}: {gap.max():.4f} h apart)"
    each = pack.of_tasks("hoist_hours", progress["task"]) / pack.of_tasks("work_days", progress["task"])
    uneven = (progress["hoist_hours"] - progress["work_days"] * each).abs() > TOLERANCE_DAYS
    yield from _say("hoist hours do not follow the work", progress[uneven], "task", "date", "hoist_hours")


def _left_on_faces(pack: Pack) -> pd.Series:
    """Share of a date left to work under large lifts, by block and date: by the last open date's flights."""
    moved = pack["progress"].query("hook_hours > 0").copy()
    for column in ("face", "lift_class"):
        moved[column] = pack.of_tasks(column, moved["task"])
    flown = moved[moved["lift_class"] == "large"].groupby(["face", "date"])["hook_hours"].sum()
    calendars = pack["calendars"]
    site = calendars[(calendars["calendar"] == "site") & (calendars["fraction"] > 0)].sort_values("date")
    after = dict(zip(site["date"].iloc[:-1], site["date"].iloc[1:], strict=True))
    each = pack.value["site.face_kept_clear"] / pack.value["site.shift_hours"]
    left = (1 - each * flown).clip(lower=0.0)
    left = left[[date in after for _face, date in left.index]]
    left.index = pd.MultiIndex.from_tuples(
        [(face, after[date]) for face, date in left.index], names=["face", "date"]
    )
    return left


def hook_is_what_moved(pack: Pack) -> Iterator[str]:
    """Hours used are the progress of lifting tasks, by crane, class and date; classes are complete."""
    tasks, progress, hook = pack["tasks"], pack["progress"], pack["hook"]
    lifting = tasks["hook_hours"] > 0
    unclassed = lifting & ((tasks["crane"] == "") | ~tasks["lift_class"].isin(["ordinary", "large"]))
    yield from _say("a lift has no crane or class", tasks[unclassed], "task")
    moved = progress[progress["hook_hours"] > 0].copy()
    moved["crane"], moved["class"] = (
        pack.of_tasks("crane", moved["task"]),
        pack.of_tasks("lift_class", moved["task"]),
    )
    for name in ("ordinary", "large"):
        from_tasks = moved[moved["class"] == name].groupby(["crane", "date"])["hook_hours"].sum()
        used = hook.set_index(["crane", "date"])[f"{name}_used"]
        gap = used.sub(from_tasks, fill_value=0).abs()
        if gap.max() > TOLERANCE_DAYS:
            yield f"{name} hook hours are not those of the tasks ({gap.idxmax()}: {gap.max():.4f} h apart)"


def closed_days_are_kept(pack: Pack) -> Iterator[str]:
    """No work on a date whose fraction is 0, never more than the fraction of the part a task was in hand."""
    progress = pack["progress"].copy()
    progress["calendar"] = pack.of_tasks("calendar", progress["task"])
    fraction = pack["calendars"].set_index(["calendar", "date"])["fraction"]
    progress["fraction"] = fraction.reindex(
        pd.MultiIndex.from_frame(progress[["calendar", "date"]])
    ).to_numpy()
    yield from _say("work on a date no calendar knows", progress[progress["fraction"].isna()], "task", "date")
    closed = (progress["fraction"] <= 0) & (progress["work_days"] > 0)
    yield from _say("work on a closed date", progress[closed], "task", "date", "work_days")
    day = pack.day(progress["date"])
    start, finish = progress["task"].map(pack.start), progress["task"].map(pack.finish)
    part = (np.minimum(finish, day + 1) - np.maximum(start, day)).clip(lower=0)
    progress["face"] = pack.of_tasks("face", progress["task"])
    under = (progress["face"] != "") & (pack.of_tasks("lift_class", progress["task"]) != "large")
    wanted = pd.MultiIndex.from_frame(progress[["face", "date"]])
    clear = _left_on_faces(pack).reindex(wanted).fillna(1.0).to_numpy()
    allowed = progress["fraction"] * np.where(under, clear, 1.0)
    over = progress["work_days"] > allowed * part + TOLERANCE_DAYS
    yield from _say("more work than the date allows", progress[over], "task", "date", "work_days", "fraction")
    outside = (day < np.floor(start)) | (day > np.ceil(finish + TOLERANCE_DAYS) - 1)
    yield from _say("work outside start and finish", progress[outside], "task", "date")


def progress_adds_up(pack: Pack) -> Iterator[str]:
    """Progress adds up to the task, in shifts and hook hours; events take no time."""
    tasks, progress = pack["tasks"], pack["progress"]
    if progress.duplicated(["task", "date"]).any():
        yield "a task has two rows for one date"
    unknown = ~progress["task"].isin(tasks["task"])
    yield from _say("progress of no task", progress[unknown], "task")
    sums = progress.groupby("task")[["work_days", "hook_hours"]].sum().reindex(tasks["task"], fill_value=0.0)
    for column in ("work_days", "hook_hours"):
        apart = (sums[column].to_numpy() - tasks[column]).abs() > TOLERANCE_DAYS
        yield from _say(f"progress does not add up to {column}", tasks[apart], "task", column)
    event = tasks["work_days"] == 0
    long = event & ((tasks["finish"] - tasks["start"]).abs() > TOLERANCE_DAYS)
    yield from _say("an event takes time", tasks[long], "task")
    backward = (tasks["start"] < 0) | (tasks["finish"] < tasks["start"])
    yield from _say("a task ends before it starts", tasks[backward], "task")


def amounts_are_the_quantities(pack: Pack) -> Iterator[str]:
    """A task takes the quantity of its zone, its storey or its block (a section: of its block)."""
    tasks = pack["tasks"]
    tasks = tasks[tasks["quantity"] != ""].copy()
    quantities = pack["quantities"]
    place = ["block", "storey", "zone", "quantity"]
    storeys = (
        quantities.groupby(["block", "storey", "quantity"], as_index=False)["amount"].sum().assign(zone=0)
    )
    blocks = (
        quantities.groupby(["block", "quantity"], as_index=False)["amount"].sum().assign(storey=0, zone=0)
    )
    table = pd.concat([part.set_index(place)["amount"] for part in (quantities, storeys, blocks)])
    table = table[~table.index.duplicated()]
    wanted = pd.MultiIndex.from_frame(tasks[place])
    tasks["measured"] = table.reindex(wanted).to_numpy()
    apart = ~((tasks["amount"] - tasks["measured"]).abs() <= 1e-5 * (1 + tasks["amount"].abs()))
    yield from _say(
        "an amount is not the quantity measured", tasks[apart], "task", "quantity", "amount", "measured"
    )


def work_follows_from_amounts(pack: Pack) -> Iterator[str]:
    """Shifts and hook hours of every task follow from its amount and the records of its activity."""
    value = pack.value
    tasks = pack["tasks"].query("quantity != ''")
    names = tasks["figures"].unique()
    fields = ("gang", "most", "hours", "skip_hours", "weeks", "lifts", "hook", "crane_share")
    records = pd.DataFrame(
        {field: [value.get(f"activity.{name}.{field}", np.nan) for name in names] for field in fields},
        index=names,
    ).loc[tasks["figures"]]
    records.index = tasks.index
    people, amount, work = tasks["people"], tasks["amount"], tasks["work_days"]
    by_hours = records["hours"].notna()

    most = np.where(by_hours, np.maximum(records["gang"], records["most"]), records["gang"])
    wrong = (people > most + 1e-6) | (people < records["gang"] - 1e-6)
    yield from _say("people are not between a gang and the most", tasks[wrong], "task", "people")

    day_hours = value["site.productive_hours"] * value["site.labour_present"]
    each = records["hours"] + value["crane.skip_slabs"] * (records["skip_hours"] - records["hours"]).fillna(
        0.0
    )
    hours = amount * each * (1 + value["site.rework"]) / (people * day_hours)
    weeks = amount * records["weeks"].fillna(1 / value["factory.output"]) * 5.0
    settled = hours.where(by_hours, weeks)
    learning = value["site.learning"] ** -np.log2(value["site.learning_storeys"])  # on the first storey
    slow = settled * np.where(by_hours, max(learning, 1.0), 1.0)
    off = (work < settled - TOLERANCE_DAYS) | (work > slow + TOLERANCE_DAYS)
    yield from _say("shifts do not follow from amount and hours", tasks[off], "task", "work_days", "amount")

    lifts, height = amount * records["lifts"], _heights(pack, tasks)
    by_skip = tasks["activity"].map(lambda name: value.get(SKIPPED.get(name, ""), 1.0))
    hoists = pack["quantities"].query("quantity == 'hoists_no'").set_index("block")["amount"]
    has_hoist = tasks["block"].map(hoists).fillna(0.0) > 0
    tall = (
        tasks["block"].map(pack["tasks"].groupby("block")["storey"].max() - 1) >= value["site.hoist_storeys"]
    )
    share = records["crane_share"].where(has_hoist | ~tall, 1.0) * by_skip
    minutes = records["hook"] + _travel(value, height) - _travel(value, value["crane.record_height"])
    lifted = (lifts * share * minutes / 60).fillna(0.0)
    off = (tasks["hook_hours"] - lifted).abs() > TOLERANCE_DAYS
    yield from _say("hook hours do not follow from lifts", tasks[off], "task", "hook_hours", "amount")
    trip = value["hoist.handling"] + 2 * height / value["hoist.speed"]
    pumped = tasks["activity"].isin(list(SKIPPED))
    carried = (lifts * (1 - share) * trip / 60).where(has_hoist & ~pumped, 0.0).fillna(0.0)
    off = (tasks["hoist_hours"] - carried).abs() > TOLERANCE_DAYS
    yield from _say("hoist hours do not follow from lifts", tasks[off], "task", "hoist_hours", "amount")


SKIPPED = {
    "slab_pour": "crane.skip_slabs",
    **dict.fromkeys(("core_pour", "core_pour_ahead", "column_pour"), "crane.skip_verticals"),
}
"""Concrete that goes by skip or by pump, and the share by skip."""


def _heights(pack: Pack, tasks: pd.DataFrame) -> pd.Series:
    """Height of the slab a task stands on; work on a whole block is taken to its roof. [m]"""
    wide = (
        pack["quantities"]
        .query("storey == 1")
        .pivot_table(index="block", columns="quantity", values="amount", aggfunc="sum")
    )
    storey_height = tasks["block"].map(wide["facade_m2"] / wide["facade_m"])
    roof = tasks["block"].map(pack["tasks"].groupby("block")["storey"].max())  # a slab more than storeys
    return (tasks["storey"].where(tasks["storey"] > 0, roof) - 1) * storey_height


def _travel(value: dict[str, float], height: pd.Series | float) -> pd.Series | float:
    """Minutes of the hook there and back: from 25 m to 30 m a quarter turn away, from 1.5 m to a height."""
    turn, run = 0.25 / value["crane.slew"], 5.0 / value["crane.trolley"]
    level = max(turn, run) + value["crane.alpha"] * min(turn, run)
    total = 0.0
    for name in ("hoist_up", "hoist_down"):
        rise = abs(height - 1.5) / value[f"crane.{name}"]
        total = total + np.maximum(level, rise) + value["crane.beta"] * np.minimum(level, rise)
    return total


def loads_carry_the_quantities(pack: Pack) -> Iterator[str]:
    """Vehicles are whole, as few as each call-off allows, carry what the work takes, and come in time."""
    loads, value = pack["loads"].copy(), pack.value
    enough = np.ceil(loads["amount"] / loads["per_load"] - 1e-6)
    empty = loads[loads["loads"] != enough]
    yield from _say("vehicles are not the amount over the load", empty, "material", "date")
    loads["day"] = pack.day(loads["date"])

    kinds = loads.groupby(["delivery", "activity"], as_index=False)["per_load"].agg(["min", "max"])
    full = kinds["delivery"].map(lambda name: value[f"delivery.{name}.per_load"])
    share = kinds["min"] / full
    known = np.isclose(share, 1.0, atol=1e-6) | np.isclose(share, value["load.part_called"], atol=1e-6)
    odd = kinds[~known | (kinds["max"] > kinds["min"] + 1e-6)]
    yield from _say("a load is neither a full one nor one called off in part", odd, "delivery")

    tasks = pack["tasks"]
    work = tasks[tasks["work_days"] > 0][["activity", "block", "storey", "amount", "start"]]
    work = work.merge(kinds[["delivery", "activity", "min"]], on="activity")
    work["owed"] = work["amount"] * work["delivery"].map(lambda name: value[f"delivery.{name}.per_unit"])
    place = ["delivery", "block"]
    by_storey = work.groupby([*place, "storey", "min"], as_index=False)["owed"].sum()
    for calls, name in ((by_storey, "by_storey"), (work, "by_task")):
        calls[name] = np.ceil(calls["owed"] / calls["min"] - 1e-6)
    found = pd.concat(
        [
            work.groupby(place).agg(owed=("owed", "sum"), first=("start", "min"), by_task=("by_task", "sum")),
            by_storey.groupby(place)["by_storey"].sum(),
            loads.groupby(place).agg(come=("amount", "sum"), day=("day", "min"), vehicles=("loads", "sum")),
        ],
        axis=1,
    ).reset_index()
    apart = ~((found["come"] - found["owed"]).abs() <= 1e-5 * (1 + found["owed"]))
    yield from _say("what comes is not what the work takes", found[apart], *place, "come", "owed")
    more = found[(found["vehicles"] != found["by_storey"]) & (found["vehicles"] != found["by_task"])]
    yield from _say("more or fewer vehicles come than are enough", more, *place, "vehicles", "by_storey")
    late = found[found["day"] > found["first"] + TOLERANCE_DAYS]
    yield from _say("the first vehicle comes after the work has begun", late, *place, "day", "first")


def operatives_are_what_moved(pack: Pack) -> Iterator[str]:
    """Operative-days by date, block and trade are people times shifts moved; so are those of a task."""
    tasks, progress = pack["tasks"], pack["progress"].copy()
    apart = (tasks["operative_days"] - tasks["people"] * tasks["work_days"]).abs() > TOLERANCE_DAYS * (
        1 + tasks["people"]
    )
    yield from _say("operative-days of a task are not people times shifts", tasks[apart], "task")
    progress["operatives"] = progress["work_days"] * pack.of_tasks("people", progress["task"])
    for column in ("block", "trade"):
        progress[column] = pack.of_tasks(column, progress["task"])
    keys = ["date", "block", "trade"]
    moved = progress[progress["operatives"] > 0].groupby(keys)["operatives"].sum()
    gap = pack["operatives"].set_index(keys)["operatives"].sub(moved, fill_value=0).abs()
    if gap.max() > 1e-3:
        yield f"operatives are not those of the tasks ({gap.idxmax()}: {gap.max():.4f} apart)"


def site_costs_run(pack: Pack) -> Iterator[str]:
    """A time-related cost is its weeks times its rate."""
    costs = pack["time_costs"]
    amount = (costs["finish"] - costs["start"]) / 7 * costs["rate_per_week"]
    apart = (costs["amount"] - amount).abs() > PENNY + 1e-6 * costs["rate_per_week"]
    yield from _say("a site cost is not weeks times rate", costs[apart], "item", "amount")
    last = pack["tasks"]["finish"].max()
    late = (costs["finish"] > last + TOLERANCE_DAYS) | (costs["start"] < -TOLERANCE_DAYS)
    yield from _say("a site cost runs outside the programme", costs[late], "item", "finish")


def cash_balances(pack: Pack) -> Iterator[str]:
    """Every month: all that is paid equals all that comes in, and the loan follows from the month before."""
    cash = pack["cashflow"]
    if not (cash["month"].diff().dropna() == 1).all():
        yield "a month is missing or stands twice"
    if not pd.to_datetime(cash["ends_on"]).is_monotonic_increasing:
        yield "months do not end one after another"
    out = cash[[*COST_LINES, "fees_finance", "repaid", "equity_out"]].sum(axis=1)
    come = cash[["receipts", "drawn_equity", "drawn_debt"]].sum(axis=1)
    yield from _say("sources are not uses", cash[(out - come).abs() > PENNY], "month")
    before = cash["debt"].shift(fill_value=0.0)
    debt = before + cash["drawn_debt"] + cash["interest"] - cash["repaid"]
    yield from _say("the loan does not follow", cash[(debt - cash["debt"]).abs() > PENNY], "month", "debt")
    interest = before * pack.value["money.debt_rate_pct"] / 1200
    apart = (interest - cash["interest"]).abs() > PENNY
    yield from _say("interest is not the rate on the loan before", cash[apart], "month", "interest")
    movements = [c for c in cash.columns if c not in ("month", "ends_on", "premium", "construction")]
    negative = (cash[movements] < -PENNY).any(axis=1)
    yield from _say("a movement of cash is below nothing", cash[negative], "month")


def costs_reach_the_cash(pack: Pack) -> Iterator[str]:
    """Work, site, fees and land add up to the lines of the cash flow; receipts month by month."""
    value, cash, tasks = pack.value, pack["cashflow"], pack["tasks"]
    total = cash[COST_LINES].sum()
    contingency = 1 + value["money.contingency_pct"] / 100
    reference = total["construction"] / contingency  # the price of the options replaced
    quantities = pack["quantities"]
    flats = quantities[quantities["quantity"] == "flats_no"]["amount"].sum()
    fixed = reference * value["money.fixed_preliminaries_pct"] / 100
    fixed += tasks["cost"].sum() * value["money.value_preliminaries_pct"] / 100
    apart = fixed - pack["fixed_costs"]["amount"].sum()
    if abs(apart) > 1.0:
        yield f"fixed preliminaries are {apart:,.2f} apart from their share"
    panels = pack["factory_payments"]
    bond = panels.loc[panels["step"] == "bond", "amount"].sum()
    drawn_again = (tasks["activity"] == "hand_wall").any()  # there is such a wall with late adoption only
    fees = value["money.fees_pct"] + (value["late.fee_pct"] if drawn_again else 0.0)
    for line, wanted in (
        ("construction and premium", tasks["cost"].sum() * contingency + bond),
        ("preliminaries", pack["time_costs"]["amount"].sum() + fixed),
        ("fees", reference * fees / 100),
        ("land", _land(pack, flats)),
    ):
        paid = sum(total[part] for part in line.split(" and "))
        if abs(paid - wanted) > 1.0 + 1e-7 * wanted:  # quantities carry six decimals
            yield f"{line}: {paid:,.2f} is paid, {wanted:,.2f} is owed"
    sold = pack["receipts"].groupby("month")["amount"].sum()
    gap = cash.set_index("month")["receipts"].sub(sold, fill_value=0).abs()
    if gap.max() > PENNY:
        yield f"receipts of month {gap.idxmax()} are {gap.max():,.2f} apart"


def _land(pack: Pack, flats: float) -> float:
    """Price, duty and holding of the land; the day of purchase is read off the mean day of the payments."""
    value, cash = pack.value, pack["cashflow"]
    ends = pd.to_datetime(cash["ends_on"])
    day = (ends - ends[cash["month"] == 0].iloc[0]).dt.days
    price = flats * value["money.land"]
    bought, a_day = (
        price * (1 + value["money.stamp_duty_pct"] / 100),
        price * value["money.holding_pct"] / 36525,
    )
    moment = -float((cash["land"] * day).sum())  # bought p days before: bought p + a_day p p / 2
    if moment <= 0:
        return bought
    before = moment / bought
    for _ in range(50):
        before = moment / (bought + a_day * before / 2)
    return bought + a_day * before


def assumptions_are_complete(pack: Pack) -> Iterator[str]:
    """Every record says what, how far, on whose word; every activity and load has its records."""
    table = pack["assumptions"]
    yield from _say("a record stands twice", table[table["key"].duplicated()], "key")
    for column in ("key", "label", "unit", "evidence", "mark", "source"):
        yield from _say(f"a record lacks its {column}", table[table[column].str.strip() == ""], "key")
    for column in ("shared", "overridden"):
        yield from _say(f"{column} is neither yes nor no", table[~table[column].isin(["yes", "no"])], "key")
    own = table["overridden"] == "no"
    outside = own & ~table["value"].between(table["low"], table["high"])
    yield from _say("a record lies outside its own range", table[outside], "key", "value")
    for activity in sorted(set(pack["tasks"].query("quantity != ''")["figures"])):
        for field in ("gang", "most"):
            if f"activity.{activity}.{field}" not in pack.value:
                yield f"activity.{activity}.{field} is missing"
    for delivery in sorted(set(pack["loads"]["delivery"])):
        for field in ("per_unit", "per_load"):
            if f"delivery.{delivery}.{field}" not in pack.value:
                yield f"delivery.{delivery}.{field} is missing"


CHECKS = (
    links_are_kept,
    gangs_are_in_one_place,
    hook_classes_hold,
    hook_is_what_moved,
    hoists_hold,
    closed_days_are_kept,
    progress_adds_up,
    amounts_are_the_quantities,
    work_follows_from_amounts,
    loads_carry_the_quantities,
    operatives_are_what_moved,
    site_costs_run,
    cash_balances,
    costs_reach_the_cash,
    assumptions_are_complete,
)


if __name__ == "__main__":
    faults = recheck(read_pack(Path(sys.argv[1])))
    print("\n".join(faults) or "all holds")
    sys.exit(bool(faults))
