"""What can be wrong, and how is it said?

Every error a user may meet says where it is, what was found, what is allowed and why, and how to
put it right. Anything that is not a `ModelError` is a bug and is left to show as one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class ModelError(Exception):
    """Any problem whose message may be shown to the user as it stands."""


class RangeError(ModelError):
    """A formula was asked about a value outside its range of validity."""


class AssumptionError(ModelError):
    """A library record is not fit to be used."""


class ScheduleError(ModelError):
    """The programme cannot be worked out from the inputs."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input.

    Attributes
    ----------
    where : str
        Path of the value in the file, for example ``blocks[1] 'East'.storeys``.
    found : str
        What stands there.
    allowed : str
        What may stand there, and why.
    remedy : str
        What to do.
    """

    where: str
    found: str
    allowed: str
    remedy: str = ""

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.found}.", self.allowed, self.remedy]
        return " ".join(part.strip() for part in parts if part.strip())


class ScenarioError(ModelError):
    """A scenario cannot be used; carries every problem found, not only the first.

    Parameters
    ----------
    problems : iterable of Problem
        At least one.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        count = len(self.problems)
        head = f"The scenario has {count} problem{'s' if count != 1 else ''}:"
        super().__init__("\n".join([head, *(f"  - {problem}" for problem in self.problems)]))
