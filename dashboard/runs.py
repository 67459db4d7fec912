"""Work that takes minutes: how is it done beside the page, watched, and stopped?

A run works in a thread of its own and writes down how far it is; whoever holds the run reads that. Nothing
here knows Streamlit or the model. Runs of one server take turns, so that a second does not slow the first and
both the page; a run that nobody holds any more stops by itself.
"""

from __future__ import annotations

import threading
import time
import weakref
from collections.abc import Callable
from typing import Any, Final

Told = Callable[..., None]
"""Told how many draws are done, of how many, and perhaps what is known so far."""

Work = Callable[[Told, Callable[[], bool]], Any]

BREATH: Final = 0.002
"""Pause of a run each time it reports, so that the page gets its turn. [s]"""

PATIENCE: Final = 0.1
"""How long a run waits before it asks again whether it is its turn. [s]"""

_TURN: Final = threading.Semaphore(1)


class Stopped(Exception):
    """Raised inside a piece of work that was told to stop and has no other way to end."""


def breaking(told: Told, stop: Callable[[], bool]) -> Told:
    """Return a `Told` that ends the work it is given to as soon as it is to stop."""

    def tell(done: int, of: int, so_far: Any = None) -> None:
        if stop():
            raise Stopped
        told(done, of, so_far)

    return tell


class _Sheet:
    """What a run writes down."""

    def __init__(self) -> None:
        self.stop = threading.Event()
        self.ended = threading.Event()
        self.waiting = True
        self.done, self.of = 0, 0
        self.so_far: Any = None
        self.result: Any = None
        self.error: Exception | None = None


class Run:
    """One piece of work beside the page.

    Parameters
    ----------
    work : callable
        Takes `Told` and a function that says whether to stop; returns the result, or None if stopped.
    """

    def __init__(self, work: Work) -> None:
        self._sheet = _Sheet()
        self._let_go = weakref.finalize(self, self._sheet.stop.set)
        threading.Thread(target=_work, args=(work, self._sheet), name="run", daemon=True).start()

    @property
    def running(self) -> bool:
        """Whether it is still at work, or waits for its turn."""
        return not self._sheet.ended.is_set()

    @property
    def waiting(self) -> bool:
        """Whether another run has to end first."""
        return self.running and self._sheet.waiting

    @property
    def stopped(self) -> bool:
        """Whether it was told to stop."""
        return self._sheet.stop.is_set()

    @property
    def done(self) -> int:
        """Draws done."""
        return self._sheet.done

    @property
    def of(self) -> int:
        """Draws in all; 0 until the run has said."""
        return self._sheet.of

    @property
    def so_far(self) -> Any:
        """What is known so far; None until the run has said."""
        return self._sheet.so_far

    @property
    def result(self) -> Any:
        """What came of it; None while it runs, if it was stopped or failed."""
        return self._sheet.result

    @property
    def error(self) -> Exception | None:
        """Why it failed; None if it did not."""
        return self._sheet.error

    def cancel(self) -> None:
        """Tell the run to stop at its next step."""
        self._sheet.stop.set()

    def wait(self, seconds: float) -> bool:
        """Wait for the end; return whether it has come."""
        return self._sheet.ended.wait(seconds)


def _work(work: Work, sheet: _Sheet) -> None:
    """Take a turn, do the work, write down how it ended."""
    try:
        while not _TURN.acquire(timeout=PATIENCE):
            if sheet.stop.is_set():
                return
        try:
            sheet.waiting = False
            if not sheet.stop.is_set():
                sheet.result = work(_teller(sheet), sheet.stop.is_set)
        finally:
            _TURN.release()
    except Stopped:
        pass
    except Exception as error:  # a fault must reach the page, not die with the thread
        sheet.error = error
    finally:
        sheet.ended.set()


def _teller(sheet: _Sheet) -> Told:
    def told(done: int, of: int, so_far: Any = None) -> None:
        sheet.done, sheet.of = done, of
        if so_far is not None:
            sheet.so_far = so_far
        time.sleep(BREATH)

    return told
