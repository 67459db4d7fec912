"""Work one method of an audit pack out again in a spreadsheet, line by line, from its tables alone.

Written apart from the model, of which nothing is imported. The workbook holds what the pack gives (records,
dates, progress, prices of tasks, rates of site items) as figures, and everything that is worked out from them
as a formula: shares of a month, panel maker's steps, bond, retention, site, fees, land, sales, equity, loans
and fees, totals, present value and rate of return. One figure is pasted that is also worked out: the facility
that its own fees are charged on, with a cell beside it that says how far it is from the peak balance.

Not in the pack, and asked for: the day of purchase, and the prices of what is replaced, which are those of
the other method's folder where that is the open frame.

Days count from the start on site. Money that falls between two month-ends is split between them by nearness.
"""

import contextlib
import datetime as dt
import io

import formulas
import numpy as np
import openpyxl
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.formula import ArrayFormula

MEAN_MONTH = "(365.25/12)"
FIRST = 4
"""Row of the first month on `Cash`; the opening balances stand above it."""

FIXED_COSTS = {
    "Setting up: cabins, services, security": "set_up",
    "Cranes and hoists: bases, erection": "plant_up",
    "Cranes and hoists: dismantling": "plant_down",
    "Temporary works: hoarding, gantries, designs": "temporary_works",
    "Management visits, surveys, tests, fees, permits": "running",
    "Completion: records, cleaning, handover": "completion",
}
"""Records whose share each label of fixed_costs.csv goes by; the label not here goes by value."""

LINES = ("construction", "premium", "preliminaries", "fees", "land")


class Sheet:
    """A worksheet that tells where it put things."""

    def __init__(self, book, name):
        self.name, self.sheet = name, book.create_sheet(name)
        self.given = {}

    def put(self, row, column, value):
        self.sheet.cell(row, column, value)
        return self.at(row, column)

    def at(self, row, column):
        return f"{self.name}!${get_column_letter(column)}${row}"

    def down(self, column, first, last):
        letter = get_column_letter(column)
        return f"{self.name}!${letter}${first}:${letter}${last}"

    def across(self, row, first, last):
        return f"{self.name}!${get_column_letter(first)}${row}:${get_column_letter(last)}${row}"

    def column(self, column, figures):
        """Give a whole column of figures from row 1 down; return its range.

        They are handed to the evaluator with the workbook: cell by cell it takes minutes to read them.
        """
        place = self.down(column, 1, len(figures))
        self.given[place] = np.array(figures, dtype=float)[:, np.newaxis]
        return place

    def array(self, ref, formula):
        self.sheet[ref.split(":")[0]] = ArrayFormula(ref, f"={formula}")
        return ":".join(
            f"${letters}${digits}" for letters, digits in map(_split, ref.split(":"))
        )  # without the sheet

    def column_of(self, column, rows, formula):
        """Write one formula over a whole column; return its range."""
        letter = get_column_letter(column)
        return f"{self.name}!{self.array(f'{letter}1:{letter}{rows}', formula)}"


def _split(cell):
    letters = cell.rstrip("0123456789")
    return letters, cell[len(letters) :]


class Workbook:
    """Formulas of one method, and the cells in which its results stand."""

    def __init__(self, pack, reference, *, purchase, facility):
        """Take tables by name, the open frame's tasks, the day of purchase and the facility in pounds."""
        self.pack = pack
        self.book = openpyxl.Workbook()
        self.book.remove(self.book.active)
        self.cells, self.given = {}, {}
        self._inputs(purchase, facility)
        self._dates()
        self._measured(reference)
        self._panels()
        self._flows()
        self._sales()
        self._cash()
        self._totals()

    def _sheet(self, name):
        sheet = Sheet(self.book, name)
        sheet.given = self.given
        return sheet

    # what is given

    def _inputs(self, purchase, facility):
        self.inputs = self._sheet("Inputs")
        records = self.pack["assumptions"]
        self.number = {k: float(v) for k, v in zip(records["key"], records["value"], strict=True)}
        self.record = {}
        self.start = dt.date.fromisoformat(self.pack["calendars"]["date"].iloc[0])
        first = f"=DATE({self.start.year},{self.start.month},{self.start.day})"
        self.start_cell = self.inputs.put(1, 4, first)
        self.facility = self.inputs.put(2, 4, facility)
        if purchase is None:  # whole months before the start
            months = self.v("money.purchase_months_before_start")
            purchase = f"=EDATE({self.start_cell},-{months})-{self.start_cell}"
        self.purchase = self.inputs.put(3, 4, purchase)

    def v(self, key):
        """Return the cell of a record, which is put there when it is first asked for."""
        if key not in self.record:
            row = len(self.record) + 1
            self.inputs.put(row, 1, key)
            self.record[key] = self.inputs.put(row, 2, self.number[key])
        return self.record[key]

    def pct(self, key):
        """Return a record in per cent as a share."""
        return f"({self.v(key)}/100)"

    def _dates(self):
        """Put the months, their ends, and the ends after them on the cash sheet."""
        self.cash = self._sheet("Cash")
        months = [int(month) for month in self.pack["cashflow"]["month"]]
        self.rows = range(FIRST, FIRST + len(months))
        last = self.rows[-1]
        for row, month in zip(self.rows, months, strict=True):
            here = self.cash.put(row, 1, month)
            self.cash.put(row, 2, f"=EDATE({self.start_cell},{here})-{self.start_cell}")
        # one month-end more on either side, so that all that falls inside is split alike
        self.cash.put(FIRST - 1, 2, f"={self.cash.at(FIRST, 2)}-31")
        self.cash.put(last + 1, 2, f"={self.cash.at(last, 2)}+31")
        self.ends = self.cash.down(2, FIRST, last)
        self.before = self.cash.down(2, FIRST - 1, last - 1)
        self.after = self.cash.down(2, FIRST + 1, last + 1)
        self.contingency = f"(1+{self.pct('money.contingency_pct')})"

    # measured work

    def _measured(self, reference):
        """Pay for the progress of each date, with what is retained or paid ahead of it withheld."""
        tasks = self.pack["tasks"]
        made = tasks[tasks["activity"] == "make_panels"]
        walls = {"outer_wall", "separating_wall"} if len(made) else set()
        self.made_tasks = made
        priced = tasks[tasks["cost"] > 0]
        places = sorted(set(zip(priced["block"], priced["element"], strict=True)))
        number = {place: n for n, place in enumerate(places, start=1)}
        sheet = self._sheet("Tasks")

        def put(frame, column):
            frame = frame[frame["cost"] > 0]
            codes = [number[place] for place in zip(frame["block"], frame["element"], strict=True)]
            return sheet.column(column, codes), sheet.column(column + 1, frame["cost"].tolist())

        own_place, own_cost = put(tasks, 1)
        base_place, base_cost = put(reference, 3)
        table = self._sheet("Places")
        for n, (block, element) in enumerate(places, start=1):
            table.put(n, 1, n)
            table.put(n, 2, block)
            table.put(n, 3, 1.0 if element in walls else 0.0)
            own = table.put(n, 4, f"=SUMIF({own_place},{table.at(n, 1)},{own_cost})")
            base = table.put(n, 5, f"=SUMIF({base_place},{table.at(n, 1)},{base_cost})")
            table.put(n, 6, f"={base}/{own}")
        count = len(places)
        codes, self.place_block, walls_range, self.own, self.base, ratio = (
            table.down(column, 1, count) for column in (1, 2, 3, 4, 5, 6)
        )
        self.own_price, self.reference = f"SUM({self.own})", f"SUM({self.base})"
        self.panels_own = f"SUMPRODUCT({walls_range},{self.own})"
        self.panels_base = f"SUMPRODUCT({walls_range},{self.base})"

        deposit, stage, rest = (
            self.pct(f"money.factory_{step}_pct") for step in ("deposit", "stage", "delivery")
        )
        self.on_delivery = f"((1-{deposit}-{stage})*{rest})"
        self.ahead = f"({deposit}+{stage}+{self.on_delivery})"
        facts = priced.set_index("task")
        moved = self.pack["progress"]
        moved = moved[moved["task"].isin(facts.index)]
        days = [(dt.date.fromisoformat(date) - self.start).days for date in moved["date"]]
        of = facts.loc[moved["task"]]
        self.work = self._sheet("Work")
        size = len(moved)
        date = self.work.column(1, days)
        done = self.work.column(2, moved["work_days"].tolist())
        whole = self.work.column(3, of["work_days"].tolist())
        cost = self.work.column(4, of["cost"].tolist())
        code = self.work.column(5, [number[place] for place in zip(of["block"], of["element"], strict=True)])
        in_wall = self.work.column(6, [1.0 if element in walls else 0.0 for element in of["element"]])
        withheld = f"{in_wall}*{self.pct('money.factory_supply_pct')}*{self.ahead}"
        paid = self.work.column_of(
            7,
            size,
            f"{cost}*{done}/{whole}*(1-{withheld}-{self.pct('money.retention_pct')})*{self.contingency}",
        )
        as_before = self.work.column_of(8, size, f"{paid}*LOOKUP({code},{codes},{ratio})")
        beyond = self.work.column_of(9, size, f"{paid}-{as_before}")
        day = self.work.column_of(10, size, f"{date}+1+{self.v('money.payment_lag_days')}")
        self.measured = {
            "construction": self._split(self.work, 11, size, as_before, day),
            "premium": self._split(self.work, 15, size, beyond, day),
        }
        walled = [row for row, element in enumerate(of["element"], start=1) if element in walls]
        self.walled = [
            [column[row - 1] for row in walled]
            for column in (days, moved["work_days"].tolist(), of["work_days"].tolist(), of["cost"].tolist())
        ]

    def _split(self, sheet, column, size, amount, day):
        """Split dated sums; return (month-end before, part of that month-end, part of the next one)."""
        lower = sheet.column_of(column, size, f"LOOKUP({day},{self.ends})")
        upper = sheet.column_of(column + 1, size, f"LOOKUP({day},{self.ends},{self.after})")
        later = sheet.column_of(column + 2, size, f"{amount}*({day}-{lower})/({upper}-{lower})")
        return lower, sheet.column_of(column + 3, size, f"{amount}-{later}"), later

    def by_month(self, split):
        """Return the formula of the dated sums of every month."""
        lower, early, later = split
        return f"SUMIF({lower},{self.ends},{early})+SUMIF({lower},{self.before},{later})"

    # panel maker

    def _panels(self):
        """Pay the panel maker on delivery, and charge the bond day by day on what is not fixed."""
        self.delivered = None
        if not len(self.made_tasks):
            return
        sheet = self._sheet("Panels")
        self.supply = f"({self.panels_own}*{self.pct('money.factory_supply_pct')})"
        size = len(self.walled[0])
        date, done, whole, cost = (sheet.column(20 + n, column) for n, column in enumerate(self.walled))
        fixed = sheet.column_of(2, size, f"{cost}*{done}/{whole}*{self.pct('money.factory_supply_pct')}")
        share = f"{self.on_delivery}*{self.contingency}"
        amount = sheet.column_of(3, size, f"{fixed}*{share}")
        before = f"{self.v('site.panels_ahead')}*7/5"
        day = sheet.column_of(4, size, f"{date}+1-{before}+{self.v('money.payment_lag_days')}")
        self.delivered = self._split(sheet, 5, size, amount, day)

        self.order = sheet.put(1, 10, f"={self.v('factory.order')}*7")
        last = sheet.put(2, 10, f"=ROUNDUP({float(self.pack['tasks']['finish'].max())!r},0)")
        whole = float(self.made_tasks["amount"].sum())
        self.stages, waits = [], []
        columns = ("start", "finish", "amount")
        for row, made in enumerate(self.made_tasks[list(columns)].itertuples(index=False), start=1):
            begin, end, number = (sheet.put(row, 11 + n, float(x)) for n, x in enumerate(made))
            part = sheet.put(row, 14, f"={number}/{whole!r}")
            first = sheet.put(row, 15, f"=ROUNDUP({begin},0)")
            final = sheet.put(row, 16, f"=ROUNDDOWN({end},0)")
            made_by = f"(({first}+{final})/2-{begin})*({final}-{first}+1)/({end}-{begin})"
            waits.append(sheet.put(row, 17, f"={part}*({made_by}+{last}-{final})"))
            self.stages.append((begin, end, part))
        deposit, stage = self.pct("money.factory_deposit_pct"), self.pct("money.factory_stage_pct")
        # pounds times days: what is paid at the order and as panels are made, less what is fixed by each day
        # (what is paid on delivery is paid after fixing here, and stands unfixed on no day)
        paid_days = f"{deposit}*{self.supply}*({last}-ROUNDUP({self.order},0)+1)"
        made_days = f"{stage}*{self.supply}*SUM({sheet.down(17, 1, len(waits))})"
        fixed_days = f"({deposit}+{stage})*SUMPRODUCT({fixed},{last}-{date})"
        self.bond = sheet.put(
            3, 10, f"=({paid_days}+{made_days}-{fixed_days})/365*{self.pct('money.bond_rate_pct')}"
        )

    # what flows between two days

    def _flows(self):
        """Put even flows and single sums side by side and share each out to the months."""
        sheet = self.flows = self._sheet("Flows")
        column = 0

        def flow(line, start, finish, amount):
            nonlocal column
            column += 1
            sheet.put(1, column, line)
            sheet.put(2, column, f"={start}")
            sheet.put(3, column, f"={finish}")
            sheet.put(4, column, f"={amount}")
            return sheet.at(4, column)

        lag = self.v("money.payment_lag_days")
        given = self._sheet("Site")
        time = self.pack["time_costs"][["start", "finish", "rate_per_week"]]
        self.time_cells = []
        for row, item in enumerate(time.itertuples(index=False), start=1):
            begin, end, rate = (given.put(row, 1 + n, float(x)) for n, x in enumerate(item))
            amount = flow("preliminaries", f"{begin}+{lag}", f"{end}+{lag}", f"({end}-{begin})/7*{rate}")
            self.time_cells.append(amount)
        weights = [self.v(f"fixed_cost.{name}.share") for name in FIXED_COSTS.values()]
        fixed = self.pack["fixed_costs"]
        rows = fixed["item"].value_counts()
        self.fixed_cells = []
        for row, item in enumerate(fixed.itertuples(), start=1):
            begin, end = given.put(row, 5, float(item.start)), given.put(row, 6, float(item.finish))
            amount = f"{self.own_price}*{self.pct('money.value_preliminaries_pct')}"
            if item.item in FIXED_COSTS:
                share = f"{self.v(f'fixed_cost.{FIXED_COSTS[item.item]}.share')}/({'+'.join(weights)})"
                pot = f"{self.reference}*{self.pct('money.fixed_preliminaries_pct')}"
                amount = f"{pot}*{share}/{rows[item.item]}"
            self.fixed_cells.append(flow("preliminaries", f"{begin}+{lag}", f"{end}+{lag}", amount))

        ready = self.pack["tasks"].query("activity == 'ready'")
        assert ready["block"].is_unique, "one handover for each block is asked for"
        self.ready = {}
        for row, item in enumerate(ready.itertuples(), start=1):
            given.put(row, 8, item.block)
            self.ready[item.block] = given.put(row, 9, float(item.finish))
        last = f"MAX({given.down(9, 1, len(ready))})"
        fees = f"{self.reference}*{self.pct('money.fees_pct')}"
        early = self.pct("money.fees_before_start_pct")
        begin = f"MIN({self.purchase},0)"
        flow("fees", begin, "0", f"{fees}*{early}")
        flow("fees", "0", last, f"{fees}*(1-{early})")

        flats = self.pack["quantities"].query("quantity == 'flats_no'")["amount"].sum()
        land = f"{float(flats)!r}*{self.v('money.land')}"
        flow("land", self.purchase, self.purchase, f"{land}*(1+{self.pct('money.stamp_duty_pct')})")
        held = f"MAX(-{self.purchase},0)/365.25"
        flow("land", begin, "0", f"{land}*{self.pct('money.holding_pct')}*{held}")

        half = f"{self.pct('money.retention_pct')}*{self.contingency}/2"
        defects = f"{self.v('money.defects_months')}*{MEAN_MONTH}"
        for row, handover in enumerate(self.ready.values(), start=1):
            block = given.at(row, 8)
            base = f"SUMIF({self.place_block},{block},{self.base})"
            own = f"SUMIF({self.place_block},{block},{self.own})"
            for day in (f"{handover}+{lag}", f"{handover}+{defects}+{lag}"):
                flow("construction", day, day, f"{half}*{base}")
                flow("premium", day, day, f"{half}*({own}-{base})")

        if len(self.made_tasks):
            flow("premium", self.order, self.order, self.bond)
            supply = f"{self.supply}*{self.contingency}"
            flow("panels", self.order, self.order, f"{self.pct('money.factory_deposit_pct')}*{supply}")
            for begin, end, part in self.stages:
                flow("panels", begin, end, f"{self.pct('money.factory_stage_pct')}*{supply}*{part}")

        self.flow_lines = sheet.across(1, 1, column)
        start, finish, amount = (sheet.across(row, 1, column) for row in (2, 3, 4))
        ref = f"A{FIRST + 2}:{get_column_letter(column)}{FIRST + 1 + len(self.rows)}"
        sheet.array(ref, f"{amount}*{self._share(start, finish)}")
        self.shared = f"{sheet.name}!{ref}"

    def _share(self, start, finish):
        """Return the share of each flow that falls to each month-end: the mean of its days' nearness to it.

        A day's nearness rises evenly from 0 at the month-end before to 1 at the month-end, and falls to 0
        at the next. Its integral to a day x is r(x; before, end) - r(x; end, after), where r is 0 up to the
        first, half a square over the gap between the two, and half the gap and the rest beyond.
        """

        def rise(day, low, high):
            inside = f"({day}>{low})*({day}<{high})*({day}-{low})/({high}-{low})"
            return f"({inside}+({day}>={high}))"

        def area(day, low, high):
            inside = f"({day}>{low})*({day}<{high})*({day}-{low})^2/2/({high}-{low})"
            return f"({inside}+({day}>={high})*({day}-({low}+{high})/2))"

        def over(of, day):
            return f"({of(day, self.before, self.ends)}-{of(day, self.ends, self.after)})"

        once = f"({finish}={start})"
        even = f"({over(area, finish)}-{over(area, start)})/({finish}-{start}+{once})"
        return f"({even}+{once}*{over(rise, start)})"

    # sales

    def _sales(self):
        """Sell flats one after another, block by block as listed, at one pace and one price a block."""
        sheet = self._sheet("Flats")
        quantities = self.pack["quantities"]
        tasks = self.pack["tasks"]
        options = set(zip(tasks["element"], tasks["option"], strict=True))
        keys = [f"option.{element}.{option}.extra_thickness" for element, option in sorted(options)]
        thicker = [self.v(key) for key in keys if key in self.number]
        homes = []
        for row, (block, ready) in enumerate(self.ready.items(), start=1):
            own = quantities[quantities["block"] == block].groupby("quantity")["amount"].sum()
            flats = round(own["flats_no"])
            # net area of a flat: what is floored, less what a thicker wall takes
            less = "".join(f"-{float(own['facade_m'])!r}*{extra}" for extra in thicker)
            sheet.put(row, 11, row)
            sheet.put(row, 12, f"={ready}")
            sheet.put(row, 13, f"=({float(own['floors_m2'])!r}{less})/{flats}")
            homes += [row] * flats
        size = len(homes)
        place = sheet.column(1, [n + 0.5 for n in range(size)])
        block = sheet.column(2, homes)
        number, ready, area = (sheet.down(column, 1, len(self.ready)) for column in (11, 12, 13))
        handed = f"LOOKUP({block},{number},{ready})"
        net_m2 = f"LOOKUP({block},{number},{area})"
        pace = f"{MEAN_MONTH}/{self.v('money.reservations_per_month')}"
        launch = f"{self.v('money.sales_launch_months')}*{MEAN_MONTH}"
        reserved = sheet.column_of(4, size, f"{launch}+{place}*{pace}")
        paid = sheet.column_of(3, size, f"{handed}+{self.v('money.notice_weeks')}*7")
        day = sheet.column_of(5, size, f"IF({reserved}>{paid},{reserved},{paid})")
        given = f"{self.pct('money.selling_pct')}-{self.pct('money.incentives_pct')}"
        net = sheet.column_of(6, size, f"{net_m2}*{self.v('money.price')}*(1-{given})")
        self.sold = self._split(sheet, 7, size, net, day)

    # months

    def _cash(self):
        """Put the cash flow on the months, and finance it from month to month."""
        sheet, v, pct = self.cash, self.v, self.pct
        layered = self.number["money.mezzanine_pct"] > 0
        names = ["month", "day", *LINES, "receipts", "cost", "flow", "need", "senior interest", "unused"]
        names += ["drawn_equity", "mezzanine drawn", "senior drawn", "owed", "peak", "exit due"]
        names += ["senior repaid", "senior", "exit paid", "exit left", "free"]
        if layered:
            names += ["mezzanine interest", "mezzanine owed", "mezzanine left", "mezzanine due"]
            names += ["mezzanine repaid", "mezzanine", "mezzanine exit paid", "mezzanine exit left"]
        names += ["equity_out", "equity left", "both owed", "drawn_debt", "interest", "fees_finance"]
        names += ["repaid", "debt"]
        self.whole = set()
        self.at = at = {name: column for column, name in enumerate(names, start=1)}
        for name, column in at.items():
            sheet.put(1, column, name)
        first, last = self.rows[0], self.rows[-1]

        def every(name, formula):
            """Put one formula over all months."""
            letter = get_column_letter(at[name])
            sheet.array(f"{letter}{first}:{letter}{last}", formula)
            self.whole.add(name)

        def of_flows(line):
            return f'MMULT({self.shared},TRANSPOSE(1*({self.flow_lines}="{line}")))'

        col = self.column
        panels = f"({of_flows('panels')}+{self.by_month(self.delivered)})" if self.delivered else "0"
        in_panels = f"={self.panels_base}/{self.panels_own}" if self.delivered else 0.0
        self.in_panels = sheet.put(2, 1, in_panels)
        part = {"construction": self.in_panels, "premium": f"(1-{self.in_panels})"}
        for line in LINES:
            measured = f"+{self.by_month(self.measured[line])}+{panels}*{part[line]}" if line in part else ""
            every(line, of_flows(line) + measured)
        every("receipts", self.by_month(self.sold))
        every("cost", "+".join(col(line) for line in LINES))
        every("flow", f"{col('receipts')}-{col('cost')}")

        rate = f"({v('money.debt_rate_pct')}/1200)"
        unused = f"({v('money.non_utilisation_pct')}/1200)"
        junior_rate = f"({v('money.mezzanine_rate_pct')}/1200)"
        total = f"SUM({col('cost')})"
        opening = FIRST - 1
        for name in names[names.index("need") :]:
            sheet.put(opening, at[name], 0.0)
        sheet.put(opening, at["equity left"], f"={pct('money.equity_pct')}*{total}")
        fee = f"{pct('money.arrangement_pct')}*{self.facility}"
        if layered:
            limit = sheet.put(opening, at["mezzanine left"], f"={pct('money.mezzanine_pct')}*{total}")
            fee += f"+{pct('money.mezzanine_arrangement_pct')}*{limit}"
        for row in self.rows:

            def now(name, row=row):
                return sheet.at(row, at[name])

            def before(name, row=row):
                return sheet.at(row - 1, at[name])

            def put(name, formula, row=row):
                sheet.put(row, at[name], f"={formula}")

            put("need", f"{now('cost')}-{now('receipts')}" + (f"+{fee}" if row == first else ""))
            put("senior interest", f"{before('senior')}*{rate}")
            put("unused", "0" if row == first else f"{unused}*MAX({self.facility}-{before('peak')},0)")
            put("drawn_equity", f"MIN(MAX({now('need')},0),{before('equity left')})")
            short = f"MAX({now('need')},0)-{now('drawn_equity')}"
            put("mezzanine drawn", f"MIN({short},{before('mezzanine left')})" if layered else "0")
            put("senior drawn", f"{short}-{now('mezzanine drawn')}+{now('unused')}")
            put("owed", f"{before('senior')}+{now('senior interest')}+{now('senior drawn')}")
            put("peak", f"MAX({before('peak')},{now('owed')})")
            rise = f"MAX({now('owed')}-{before('peak')},0)"
            put("exit due", f"{before('exit left')}+{pct('money.exit_pct')}*{rise}")
            surplus = f"MAX(-{now('need')},0)"
            put("senior repaid", f"MIN({now('owed')},{surplus})")
            put("senior", f"{now('owed')}-{now('senior repaid')}")
            put("exit paid", f"MIN({surplus}-{now('senior repaid')},{now('exit due')})")
            put("exit left", f"{now('exit due')}-{now('exit paid')}")
            put("free", f"{surplus}-{now('senior repaid')}-{now('exit paid')}")
            kept = now("free")
            if layered:
                put("mezzanine interest", f"{before('mezzanine')}*{junior_rate}")
                owed = f"{before('mezzanine')}+{now('mezzanine interest')}+{now('mezzanine drawn')}"
                put("mezzanine owed", owed)
                put("mezzanine left", f"{before('mezzanine left')}-{now('mezzanine drawn')}")
                charge = f"{pct('money.mezzanine_exit_pct')}*{now('mezzanine drawn')}"
                put("mezzanine due", f"{before('mezzanine exit left')}+{charge}")
                put("mezzanine repaid", f"MIN({now('mezzanine owed')},{now('free')})")
                put("mezzanine", f"{now('mezzanine owed')}-{now('mezzanine repaid')}")
                kept += f"-{now('mezzanine repaid')}"
                put("mezzanine exit paid", f"MIN({kept},{now('mezzanine due')})")
                put("mezzanine exit left", f"{now('mezzanine due')}-{now('mezzanine exit paid')}")
                kept += f"-{now('mezzanine exit paid')}"
            put("equity_out", kept)
            put("equity left", f"{before('equity left')}-{now('drawn_equity')}+{now('equity_out')}")

        def both(word, other):
            return col(word) + (f"+{col(other)}" if layered else "")

        every("both owed", both("owed", "mezzanine owed"))
        every("drawn_debt", f"{col('senior drawn')}+{col('mezzanine drawn')}")
        every("interest", both("senior interest", "mezzanine interest"))
        every("repaid", both("senior repaid", "mezzanine repaid"))
        every("debt", both("senior", "mezzanine"))
        arranged = f"({fee})*({col('month')}={sheet.at(first, at['month'])})"
        every("fees_finance", f"{col('unused')}+{both('exit paid', 'mezzanine exit paid')}+{arranged}")

    def column(self, name):
        """Return the range of a column of the cash flow."""
        return self.cash.down(self.at[name], self.rows[0], self.rows[-1])

    def _totals(self):
        sheet = self._sheet("Totals")
        last = self.rows[-1]
        hurdle = f"((1+{self.pct('money.hurdle_pct')})^(1/12)-1)"
        formulas_of = {line: f"SUM({self.column(line)})" for line in (*LINES, "receipts")}
        formulas_of |= {
            "interest": f"SUM({self.column('interest')})",
            "fees_finance": f"SUM({self.column('fees_finance')})",
            "equity": f"{self.cash.at(FIRST - 1, self.at['equity left'])}",
            "peak_debt": f"MAX({self.column('both owed')})",
            "facility_apart": f"{self.cash.at(last, self.at['peak'])}-{self.facility}",
            "npv": f"NPV({hurdle},{self.column('flow')})*(1+{hurdle})",
            "irr": f"(1+IRR({self.column('flow')},0.01))^12-1",
            "bond": self.bond if len(self.made_tasks) else "0",
            "time_costs": "+".join(self.time_cells),
            "fixed_costs": "+".join(self.fixed_cells),
        }
        for row, (name, formula) in enumerate(formulas_of.items(), start=1):
            sheet.put(row, 1, name)
            self.cells[name] = sheet.put(row, 2, f"={formula}")
        total = "+".join(self.cells[name] for name in (*LINES, "interest", "fees_finance"))
        row = len(formulas_of) + 1
        self.cells["total"] = sheet.put(row, 2, f"={total}")
        self.cells["profit"] = sheet.put(row + 1, 2, f"={self.cells['receipts']}-{self.cells['total']}")
        share = f"=100*{self.cells['profit']}/{self.cells['total']}"
        self.cells["profit_on_cost_pct"] = sheet.put(row + 2, 2, share)

    # results

    def evaluate(self, path):
        """Write the workbook, work it out, and return (columns of the cash flow, totals)."""

        def name(cell):
            sheet, place = cell.replace("$", "").split("!")
            return f"'[{path.name}]{sheet.upper()}'!{place}"

        self.book.save(path)
        with contextlib.redirect_stderr(io.StringIO()):  # it draws a progress bar
            model = formulas.ExcelModel().loads(str(path)).finish()
            found = model.calculate(inputs={name(place): column for place, column in self.given.items()})

        def value(cell):
            return float(found[name(cell)].value[0, 0])

        columns = {}
        for word, column in self.at.items():
            if word in self.whole:
                columns[word] = found[name(self.column(word))].value[:, 0].astype(float).tolist()
            else:
                columns[word] = [value(self.cash.at(row, column)) for row in self.rows]
        return columns, {word: value(cell) for word, cell in self.cells.items()}
