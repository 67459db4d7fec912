"""Small networks for the compiled schedule, built from a few words each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from model.programme.kernel import (
    CALENDAR,
    DONE,
    OTHER_USE,
    SHORT,
    TINY,
    early_finish,
    late_start,
    run_days,
    topological,
)


@dataclass(frozen=True)
class Task:
    """One task: shifts of work, hook hours, and who and what it needs."""

    work: float
    pool: int = 0
    hook: float = 0.0
    crane: int = -1
    lift_class: int = 0
    use: int = OTHER_USE
    hoist_hours: float = 0.0
    hoist: int = -1
    face: int = -1
    calendar: int = 0


@dataclass(frozen=True)
class Link:
    """`after` follows `before` by a lag."""

    before: int
    after: int
    lag: float = 0.0
    kind: int = CALENDAR


@dataclass(frozen=True)
class Site:
    """What each date allows. One row of `share` a calendar; hooks one row a crane."""

    share: NDArray[np.float64]
    open_dates: NDArray[np.float64]
    ordinary: NDArray[np.float64]
    large: NDArray[np.float64]
    release: NDArray[np.float64]
    gangs: tuple[int, ...] = (1,)
    booked_panels: float = 0.4
    least_hook_start: float = 0.0
    cleared_per_hour: float = 0.0
    evening: NDArray[np.float64] | None = None
    hoists: NDArray[np.float64] | None = None

    @property
    def open_before(self) -> NDArray[np.float64]:
        return np.concatenate([[0.0], np.cumsum(self.open_dates)])


@dataclass(frozen=True)
class Done:
    """What the schedule gave, with the progress by task and date."""

    status: int
    ready: NDArray[np.float64]
    start: NDArray[np.float64]
    finish: NDArray[np.float64]
    gang: NDArray[np.int64]
    bound_link: NDArray[np.int64]
    bound_task: NDArray[np.int64]
    task: NDArray[np.int64]
    date: NDArray[np.int64]
    work: NDArray[np.float64]
    hook: NDArray[np.float64]


@dataclass(frozen=True)
class Net:
    """Tasks and links as the flat arrays the compiled code takes."""

    tasks: tuple[Task, ...]
    links: tuple[Link, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "links", tuple(sorted(self.links, key=lambda link: link.before)))

    @property
    def arrays(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Predecessor counts, pointers to followers, followers."""
        before = np.array([link.before for link in self.links], dtype=np.int64)
        after = np.array([link.after for link in self.links], dtype=np.int64)
        pointers = np.searchsorted(before, np.arange(len(self.tasks) + 1)).astype(np.int64)
        return np.bincount(after, minlength=len(self.tasks)).astype(np.int64), pointers, after

    def of(self, name: str, kind: type = np.float64) -> NDArray[np.float64]:
        return np.array([getattr(task, name) for task in self.tasks], dtype=kind)

    @property
    def lags(self) -> NDArray[np.float64]:
        return np.array([link.lag for link in self.links], dtype=float)

    def order(self, rank: Sequence[int] | None = None) -> NDArray[np.int64]:
        count, pointers, after = self.arrays
        place = np.arange(len(self.tasks)) if rank is None else np.array(rank, dtype=np.int64)
        return topological(count, pointers, after, place)

    def early(self) -> NDArray[np.float64]:
        _count, pointers, after = self.arrays
        return early_finish(
            self.order(), pointers, after, self.lags, self.of("work"), np.zeros(len(self.tasks))
        )

    def late(self, length: float) -> NDArray[np.float64]:
        _count, pointers, after = self.arrays
        limit = np.full(len(self.tasks), float(length))
        return late_start(self.order(), pointers, after, self.lags, self.of("work"), limit)

    def run(self, site: Site, rank: Sequence[int] | None = None) -> Done:
        """Run the compiled schedule, tasks renumbered by their place in the order and back."""
        n = len(self.tasks)
        place = np.arange(n) if rank is None else np.array(rank)
        order = np.argsort(place)
        links = sorted(range(len(self.links)), key=lambda e: place[self.links[e].before])
        before = np.array([place[self.links[e].before] for e in links], dtype=np.int64)
        after = np.array([place[self.links[e].after] for e in links], dtype=np.int64)
        outcome = run_days(
            self.of("work")[order],
            self.of("hook")[order],
            *(self.of(*name)[order] for name in (("crane", SHORT), ("lift_class", TINY), ("use", TINY))),
            self.of("hoist_hours")[order],
            *(self.of(name, SHORT)[order] for name in ("hoist", "face")),
            self.of("calendar", TINY)[order],
            self.of("pool", SHORT)[order],
            np.bincount(after, minlength=n).astype(np.int64),
            np.searchsorted(before, np.arange(n + 1)).astype(np.int64),
            after,
            self.lags[links],
            np.array([self.links[e].kind for e in links], dtype=TINY),
            site.share,
            site.open_dates,
            site.open_before,
            site.release,
            site.ordinary,
            site.large,
            np.zeros_like(site.ordinary) if site.evening is None else site.evening,
            site.ordinary if site.hoists is None else site.hoists,
            np.concatenate([[0], np.cumsum(site.gangs)]).astype(np.int64),
            site.booked_panels,
            site.least_hook_start,
            site.cleared_per_hour,
            4 * n * site.open_dates.size,
        )
        status, *of_tasks, code, work, hook, _undone = outcome
        ready, start, finish, gang, bound_link, bound_task = (values[place] for values in of_tasks)
        link_at = np.array([*links, -1])
        task_at = np.array([*order, -1])
        dates = site.open_dates.size
        return Done(
            status, ready, start, finish, gang, link_at[bound_link], task_at[bound_task],
            order[code // dates], code % dates, work.copy(), hook.copy(),
        )  # fmt: skip


class Kit:
    """What the tests build with."""

    Task, Link, Net, Site = Task, Link, Net, Site
    DONE = DONE

    @staticmethod
    def week(dates: int = 700, first: int = 0, hours: float = 8.0, **given: object) -> Site:
        """Return a five-day week that begins on a weekday (0 Monday), with one calendar and one crane."""
        working = ((np.arange(dates) + first) % 7 < 5).astype(float)
        return Kit.site(working, hours=hours, **given)

    @staticmethod
    def always(dates: int = 700, hours: float = 8.0, **given: object) -> Site:
        """Return a site that is open every day."""
        return Kit.site(np.ones(dates), hours=hours, **given)

    @staticmethod
    def site(working: NDArray[np.float64], hours: float, **given: object) -> Site:
        hook = (hours * working)[np.newaxis, :]
        parts = {
            "share": working[np.newaxis, :].copy(),
            "open_dates": (working > 0).astype(float),
            "ordinary": hook.copy(),
            "large": hook.copy(),
            "release": np.stack([np.full(working.size, 10.0), np.full(working.size, 20.0)]),
        }
        return Site(**{**parts, **given})


@pytest.fixture(scope="session")
def kit() -> type[Kit]:
    """Builders of small networks and sites."""
    return Kit
