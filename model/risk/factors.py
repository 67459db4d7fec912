"""What is drawn in each run, and how does it reach a plan and its prices?

One table of probabilities for all methods: the same run is the same luck. Each method reads its figures off
it by its own records `risk.*`, so what is common stays common and a method may differ only where its records
do. A trade's factor lies on the hours of all its tasks, and a little more on each storey; a factor on hook
minutes; lead and output of the panel maker; sales, prices, interest; events that may happen.

Gangs and order stay those of the expected case. Failures are dated within the time in which the expected case
uses what fails, so that a chance for a run is that chance. A maker that fails leaves what it has begun;
what the expected case begins later waits for a replacement. What a plan does not hold cannot fail.

Nothing here schedules or prices.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.core.errors import RangeError
from model.inputs.assumption import Values
from model.inputs.method import CAUSES, read_catalogue
from model.inputs.scenario import Scenario
from model.programme import Plan
from model.programme.conditions import Conditions
from model.programme.durations import Tasks
from model.programme.plan import Links
from model.risk.sampling import correlated, generator, latin_hypercube, pert_ppf

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WEEK_DAYS: Final = 7.0

LAGS: Final[Mapping[str, tuple[str, ...]]] = {
    "factory_lead": ("factory.lead",),
    "power": ("approval.power",),
    "approval": ("approval.before_occupation", "approval.before_occupation_low"),
}
"""Figures that lengthen waits, and the records of the waits."""

PRICES: Final = ("sales_rate", "sale_price", "interest")
"""Figures that only prices read."""

FACTORS: Final = ("hook", "factory_lead", "factory_output", *PRICES)
"""Figures with three points, one draw a run."""

EVENTS: Final = ("power", "approval", "maker")
"""Events that happen once or not at all in a run; cranes and hoists have one each."""

EVENT_PARTS: Final = ("", ".weeks", ".when")
"""Whether an event happens, for how long and when."""

SALES_RATES: Final = ("money.reservations_per_month", "money.cap_per_block_per_month", "money.lets_per_month")
SALE_PRICES: Final = ("money.price", "money.rent")
LOAN_RATES: Final = ("money.debt_rate_pct", "money.mezzanine_rate_pct")
"""Records on which rate of sales, sale price and change of interest lie."""

NOISE_STEPS: Final = 4096
"""Values between which the factors of storeys are told apart."""

_WAITED_FOR_WORK: Final = (CAUSES.index("factory"), CAUSES.index("wait"))
"""Causes of a time that only passes where there is work, as in `model.programme.durations`."""


@dataclass(frozen=True, eq=False)
class Design:
    """Probabilities of everything drawn but the weather and the storeys: one row a run, for all methods.

    Attributes
    ----------
    runs, seed : int
    names : tuple of str
        Columns: `FACTORS`; events with their `EVENT_PARTS`; trades, cranes and hoists by name.
    u : array, shape (runs, columns)
        [above 0, below 1]
    """

    runs: int
    seed: int
    names: tuple[str, ...]
    u: Floats

    def of(self, name: str) -> Floats:
        """Return one column."""
        return np.asarray(self.u[:, self.names.index(name)])


def on_site_trades() -> tuple[str, ...]:
    """Return the trades that work on site, in the order of the library."""
    return tuple(name for name, trade in read_catalogue().trades.items() if trade.on_site)


def design_of(scenario: Scenario, values: Values, runs: int, seed: int) -> Design:
    """Draw the probabilities of a scenario.

    Parameters
    ----------
    scenario : Scenario
        For its cranes and blocks.
    values : Values
        For the correlation of trades.
    runs : int
        Draws; part of the design. [>= 1]
    seed : int
        Equal seeds give equal draws. [>= 0]

    Returns
    -------
    Design

    Raises
    ------
    RangeError
        If runs, seed or correlation are out of range.

    Notes
    -----
    The trades of the frame go together, and so do all others: by ``risk.trades.correlation`` within each of
    the two groups, not between them.
    """
    trades = on_site_trades()
    names = [
        *FACTORS,
        *(f"{event}{part}" for event in EVENTS for part in EVENT_PARTS),
        *(f"trade:{name}" for name in trades),
        *(f"crane:{crane.name}{part}" for crane in scenario.served for part in EVENT_PARTS),
        *(f"hoist:{block.name}{part}" for block in scenario.blocks for part in EVENT_PARTS),
    ]
    catalogue = read_catalogue()
    group = [
        int(catalogue.trades[name.removeprefix("trade:")].frame) if name.startswith("trade:") else -1
        for name in names
    ]
    u = latin_hypercube(runs, len(names), seed)
    return Design(runs, seed, tuple(names), correlated(u, group, values["risk.trades.correlation"]))


@dataclass(frozen=True, eq=False)
class Draws:
    """What one method makes of a design. One row a run; 0 weeks where an event does not happen.

    Attributes
    ----------
    design : Design
    trades : array, shape (runs, trades)
        Factor on the hours of each trade on site. [-]
    factors : mapping of str to array
        By `FACTORS`: factors, and percentage points of interest. [-, % a year]
    weeks, when : mapping of str to array
        By `EVENTS`: weeks lost, and the probability that dates the event. [weeks, -]
    crane_weeks, crane_when : array, shape (runs, cranes)
    hoist_weeks, hoist_when : array, shape (runs, blocks)
    """

    design: Design
    trades: Floats
    factors: Mapping[str, Floats]
    weeks: Mapping[str, Floats]
    when: Mapping[str, Floats]
    crane_weeks: Floats
    crane_when: Floats
    hoist_weeks: Floats
    hoist_when: Floats


def draws_of(scenario: Scenario, values: Values, design: Design) -> Draws:
    """Read a method's figures off a design.

    Parameters
    ----------
    scenario : Scenario
    values : Values
        Of the method: its records ``risk.*``.
    design : Design

    Returns
    -------
    Draws

    Raises
    ------
    RangeError
        If low, likely and high of a record do not stand in that order.
    """
    three = {name: _three(values, f"risk.{name}") for name in (*FACTORS, "trades")}
    for name, (low, _likely, _high) in three.items():
        if name != "interest" and low <= 0:
            raise RangeError(
                f"risk.{name}.low must be above 0; got {low:g}. "
                "It is a factor on what the scenario has: 1 leaves it as it is."
            )
    factors = {name: pert_ppf(design.of(name), *three[name]) for name in FACTORS}
    trade = np.stack([pert_ppf(design.of(f"trade:{n}"), *three["trades"]) for n in on_site_trades()], axis=1)
    cranes = [f"crane:{crane.name}" for crane in scenario.served]
    hoists = [f"hoist:{block.name}" for block in scenario.blocks]
    return Draws(
        design=design,
        trades=trade,
        factors=factors,
        weeks={event: _weeks(values, event, event, design) for event in EVENTS},
        when={event: design.of(f"{event}.when") for event in EVENTS},
        crane_weeks=np.stack([_weeks(values, "crane", name, design) for name in cranes], axis=1),
        crane_when=np.stack([design.of(f"{name}.when") for name in cranes], axis=1),
        hoist_weeks=np.stack([_weeks(values, "hoist", name, design) for name in hoists], axis=1),
        hoist_when=np.stack([design.of(f"{name}.when") for name in hoists], axis=1),
    )


def _three(
    values: Values, key: str, ends: tuple[str, str, str] = ("low", "likely", "high")
) -> tuple[float, float, float]:
    low, likely, high = (values[f"{key}.{end}"] for end in ends)
    if not low <= likely <= high:
        raise RangeError(
            f"{key} goes from {low:g} over {likely:g} to {high:g}; low, likely and high must not fall. "
            "Change the one that is out of order."
        )
    return low, likely, high


def _weeks(values: Values, event: str, column: str, design: Design) -> Floats:
    """Weeks lost to an event in each run."""
    three = _three(values, f"risk.{event}", ("weeks_low", "weeks_likely", "weeks_high"))
    lasts = pert_ppf(design.of(f"{column}.weeks"), *three)
    return np.asarray(np.where(design.of(column) < values[f"risk.{event}.chance"], lasts, 0.0))


def storey_noise(values: Values, design: Design, run: int, cells: int) -> Floats:
    """Return the factors of one run on single storeys: one a trade and storey, the same for every method.

    Parameters
    ----------
    values : Values
        Half width: ``risk.storey.spread``. [share, below 1]
    design : Design
        For its seed.
    run : int
    cells : int
        Trades on site times storeys.

    Returns
    -------
    array, shape (cells,)
        Beta-PERT between 1 less and 1 plus the half width, likely 1. [-]
    """
    step = generator(design.seed, "storeys", run).integers(0, NOISE_STEPS, cells, dtype=np.uint16)
    spread = values["risk.storey.spread"]
    if spread >= 1.0:
        raise RangeError(f"risk.storey.spread must be below 1; got {spread:g}. 0.1 is a tenth more or less.")
    return np.asarray(1.0 + spread * _noise_table()[step])


@lru_cache(maxsize=1)
def _noise_table() -> Floats:
    """Middles of equally likely steps of a beta-PERT from -1 over 0 to 1."""
    return pert_ppf((np.arange(NOISE_STEPS) + 0.5) / NOISE_STEPS, -1.0, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Reach:
    """What of a plan each figure reaches; worked out once a case.

    Attributes
    ----------
    plan : Plan
    cells : int
        Factors of storeys a run has: trades on site x storeys of all blocks.
    trade : array of int, one a task
        Place among the trades on site; then one for work elsewhere, and one for none.
    cell : array of int, one a task
        Place among the factors of storeys; the last for none.
    link : array of int
        Links whose lag varies.
    figure : array of int, one a link that varies
        Place in `LAGS`.
    days : array, one a link that varies
        Lag before anything varies; below 0 where the wait is past by the start. [days]
    begins : array, one a link that varies
        When the expected case begins what follows. [days]
    made : array of int
        Tasks done elsewhere.
    """

    plan: Plan
    cells: int
    trade: Ints
    cell: Ints
    link: Ints
    figure: Ints
    days: Floats
    begins: Floats
    made: Ints

    @cached_property
    def crane_time(self) -> tuple[Floats, Floats]:
        """First and last lift of each crane in the expected case; from after to if it has none. [days]"""
        tasks = self.plan.tasks
        return self._time(tasks.crane, tasks.hook > 0, self.plan.conditions.hook_ordinary.shape[0])

    @cached_property
    def hoist_time(self) -> tuple[Floats, Floats]:
        """First and last goods on the hoists of each block in the expected case. [days]"""
        tasks = self.plan.tasks
        return self._time(tasks.hoist, tasks.hoist_hours > 0, self.plan.conditions.hoist_hours.shape[0])

    @cached_property
    def maker_time(self) -> tuple[float, float]:
        """First and last work done elsewhere in the expected case. [days]"""
        made = self.made
        if not made.size:
            return np.inf, -np.inf
        return float(self.plan.start[made].min()), float(self.plan.finish[made].max())

    def _time(self, place: Ints, used: NDArray[np.bool_], places: int) -> tuple[Floats, Floats]:
        first, last = np.full(places, np.inf), np.full(places, -np.inf)
        mine = np.flatnonzero(used & (place >= 0))
        np.minimum.at(first, place[mine], self.plan.start[mine])
        np.maximum.at(last, place[mine], self.plan.finish[mine])
        return first, last


def reach_of(plan: Plan) -> Reach:
    """Work out what of a plan each figure reaches.

    Parameters
    ----------
    plan : Plan
        The expected case.

    Returns
    -------
    Reach
    """
    catalogue, network = read_catalogue(), plan.network
    names = list(catalogue.trades)
    on_site = on_site_trades()
    elsewhere, none = len(on_site), len(on_site) + 1
    column = np.array([on_site.index(name) if name in on_site else elsewhere for name in names] + [none])
    working = plan.tasks.work > 0
    trade = column[np.where(working, plan.tasks.trade, -1)]
    levels = np.array(plan.takeoff.layout.storeys) + 2
    first = np.cumsum(levels) - levels
    storey = np.where(network.block >= 0, first[network.block] + network.storey, 0)
    storeys = int(levels.sum())
    cells = len(on_site) * storeys
    link, figure, days = _varying(plan)
    return Reach(
        plan=plan,
        cells=cells,
        trade=trade,
        cell=np.where(trade < elsewhere, trade * storeys + storey, cells),
        link=link,
        figure=figure,
        days=days,
        begins=plan.start[network.after[link]],
        made=np.flatnonzero(trade == elsewhere),
    )


def _varying(plan: Plan) -> tuple[Ints, Ints, Floats]:
    """Return the links whose lag varies, by which figure, and their days before anything does."""
    network, values = plan.network, plan.values
    figure = np.full(network.before.size, -1, dtype=np.int64)
    days = np.zeros(network.before.size)
    late = plan.scenario.development.late_adoption
    for segment in network.segments:
        mine = [k for k, keys in enumerate(LAGS.values()) if set(keys) & set(segment.keys)]
        if not mine:
            continue
        figure[segment.first : segment.last] = mine[0]
        total = 0.0
        for key in segment.keys:
            asked = late or key not in ("late.redesign", "approval.change")
            each = WEEK_DAYS if values.library[key].unit.startswith("weeks") else 1.0
            total += each * (values[key] if asked else 0.0)
        days[segment.first : segment.last] = total
    figure, days = figure[network.made], days[network.made]
    idle = (network.group < network.activities) & (plan.tasks.work <= 0.0)
    apart = np.isin(network.cause, _WAITED_FOR_WORK) & (idle[network.after] | idle[network.before])
    link = np.flatnonzero((figure >= 0) & ~apart)
    return link, figure[link], days[link]


@dataclass(frozen=True, eq=False)
class Luck:
    """One run of one method: what reaches its plan.

    Attributes
    ----------
    trade : array
        Factor by trade on site; then of work elsewhere, and 1. [-]
    storey : array
        Factor by storey and trade; then 1. [-]
    hook : float
        Factor on hook hours. [-]
    more_days : array
        By `LAGS`. [days]
    cranes, hoists : tuple of (int, int, int)
        Crane or block, first date without it, first date with it again.
    maker : tuple of (float, float)
        When the maker fails and when another delivers; equal where none does. [days]
    to_come : float
        Share of the panels that is made after a failure. [-]
    """

    trade: Floats
    storey: Floats
    hook: float
    more_days: Floats
    cranes: tuple[tuple[int, int, int], ...]
    hoists: tuple[tuple[int, int, int], ...]
    maker: tuple[float, float]
    to_come: float


def luck_of(reach: Reach, draws: Draws, run: int) -> Luck:
    """Return what one run does to a plan.

    Parameters
    ----------
    reach : Reach
    draws : Draws
        Of the same method.
    run : int

    Returns
    -------
    Luck
    """
    values, factors = reach.plan.values, draws.factors
    more = {"factory_lead": (factors["factory_lead"][run] - 1.0) * values["factory.lead"]}
    more |= {event: draws.weeks[event][run] for event in ("power", "approval")}
    fails, again = maker_failure(reach, draws, run)
    return Luck(
        trade=np.append(draws.trades[run], (1.0 / factors["factory_output"][run], 1.0)),
        storey=np.append(storey_noise(values, draws.design, run, reach.cells), 1.0),
        hook=float(factors["hook"][run]),
        more_days=np.array([WEEK_DAYS * more[name] for name in LAGS]),
        cranes=_out_of_use(reach.crane_time, draws.crane_weeks[run], draws.crane_when[run]),
        hoists=_out_of_use(reach.hoist_time, draws.hoist_weeks[run], draws.hoist_when[run]),
        maker=(fails, again),
        to_come=still_to_come(reach, fails) if again > fails else 0.0,
    )


def maker_failure(reach: Reach, draws: Draws, run: int) -> tuple[float, float]:
    """Return when the maker fails in a run, and when another delivers; equal where none fails. [days]"""
    weeks = float(draws.weeks["maker"][run])
    first, last = reach.maker_time
    if weeks <= 0.0 or first > last:
        return 0.0, 0.0
    fails = first + float(draws.when["maker"][run]) * (last - first)
    return fails, fails + WEEK_DAYS * weeks


def still_to_come(reach: Reach, day: float) -> float:
    """Return the share of what is made elsewhere that the expected case begins on a day or later. [-]"""
    amount = reach.plan.tasks.amount[reach.made]
    return float(amount[reach.plan.start[reach.made] >= day].sum() / amount.sum())


def _out_of_use(time: tuple[Floats, Floats], weeks: Floats, when: Floats) -> tuple[tuple[int, int, int], ...]:
    """Return place, first date without and first date with again of what fails while it is used."""
    first, last = time
    found = []
    for place in np.flatnonzero((weeks > 0.0) & (first < last)):
        begins = first[place] + when[place] * (last[place] - first[place])
        again = begins + WEEK_DAYS * weeks[place]
        found.append((int(place), int(np.floor(begins)), int(np.ceil(again))))
    return tuple(found)


def lags_of(reach: Reach, luck: Luck) -> Floats:
    """Return the lags that vary, in the order of `Reach.link`. [days]"""
    lag = np.maximum(reach.days + luck.more_days[reach.figure], 0.0)
    fails, again = luck.maker
    if again > fails:
        held = (reach.figure == list(LAGS).index("factory_lead")) & (reach.begins >= fails)
        lag[held] = np.maximum(lag[held], again)
    return np.asarray(lag)


def drawn_tasks(reach: Reach, luck: Luck) -> Tasks:
    """Return the tasks of a plan in one run."""
    tasks = reach.plan.tasks
    factor = luck.trade[reach.trade] * luck.storey[reach.cell]
    return replace(tasks, work=tasks.work * factor, hook=tasks.hook * luck.hook)


def drawn_links(reach: Reach, luck: Luck) -> Links:
    """Return the links of a plan in one run."""
    lag = reach.plan.links.lag.copy()
    lag[reach.link] = lags_of(reach, luck)
    return Links(lag, reach.plan.links.kind)


def with_failures(conditions: Conditions, luck: Luck) -> Conditions:
    """Return the conditions of a run with cranes and hoists out of use on some dates."""
    if not (luck.cranes or luck.hoists):
        return conditions
    hook = [conditions.hook_ordinary, conditions.hook_large, conditions.hook_evening]
    hook = [array.copy() for array in hook] if luck.cranes else hook
    hoist = conditions.hoist_hours.copy() if luck.hoists else conditions.hoist_hours
    for crane, first, again in luck.cranes:
        for array in hook:
            array[crane, first:again] = 0.0
    for block, first, again in luck.hoists:
        hoist[block, first:again] = 0.0
    return replace(
        conditions, hook_ordinary=hook[0], hook_large=hook[1], hook_evening=hook[2], hoist_hours=hoist
    )


def drawn_values(reach: Reach, draws: Draws, luck: Luck, run: int) -> Values:
    """Return the figures of a method in one run, as its prices and its pages read them.

    Parameters
    ----------
    reach : Reach
    draws : Draws
    luck : Luck
        Of the same run.
    run : int

    Returns
    -------
    Values
        Work of a trade and hook minutes are not among them: they lie on the tasks.
    """
    values, plan = reach.plan.values, reach.plan
    factor = {name: float(draws.factors[name][run]) for name in FACTORS}
    why = f"run {run} of the risk"
    more = {
        "factory.lead": values["factory.lead"] * factor["factory_lead"],
        "factory.output": values["factory.output"] * factor["factory_output"],
        **{key: values[key] * factor["sales_rate"] for key in SALES_RATES},
        **{key: values[key] * factor["sale_price"] for key in SALE_PRICES},
        **{key: values[key] + factor["interest"] for key in LOAN_RATES},
    }
    for event in ("power", "approval"):
        more |= {key: values[key] + float(draws.weeks[event][run]) for key in LAGS[event]}
    dearer = dearer_share(values, luck.to_come)
    if dearer > 0.0:
        for option in {option.key: option for option in plan.option_of.values() if option.panels}.values():
            more[f"{option.key}.rate"] = values[f"{option.key}.rate"] * (1.0 + dearer)
    return values.with_overrides({key: (value, why) for key, value in more.items() if value != values[key]})


def dearer_share(values: Values, to_come: float) -> float:
    """Return how much dearer an option made in a factory is where its maker fails. [share]

    The price of what is still to come rises; it is the maker's part of the price alone that does.
    """
    return to_come * values["risk.maker.price"] / 100.0 * values["money.factory_supply_pct"] / 100.0
