"""Compile a numerical function to machine code, wherever the package is installed.

The compiled code is kept on disk beside the source, so that only the first start after
installation pays for it (some seconds). Where no folder can be written, the code is compiled
anew in each process instead of failing.

No fast-math: equal inputs must give equal results. No parallel loops inside: callers cut long
work into chunks and run them on one pool of threads (the compiled code releases the interpreter).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Return the function compiled, cached on disk where possible.

    Parameters
    ----------
    function : callable
        Numerical code that numba can compile in nopython mode.

    Returns
    -------
    callable
        Same signature; compiled at the first call for each set of argument types.
    """
    try:
        return cast(F, numba.njit(nogil=True, cache=True)(function))
    except RuntimeError:  # no writable cache folder: numba raises on decoration
        return cast(F, numba.njit(nogil=True)(function))


def lean(function: F) -> F:
    """Return the function compiled without counting references to the arrays passed to it.

    For small helpers called from compiled code that make and return no array: counting up and down for
    every array of every call is felt in an innermost loop. Cached on disk where possible.

    Parameters
    ----------
    function : callable
        Numerical code that makes no array.

    Returns
    -------
    callable
        Same signature.
    """
    options: dict[str, Any] = {"nogil": True, "_nrt": False}
    try:
        return cast(F, numba.njit(cache=True, **options)(function))
    except RuntimeError:
        return cast(F, numba.njit(**options)(function))
    except (
        KeyError,
        TypeError,
    ):  # a numba that no longer knows the option: a little slower, the same results
        return compiled(function)
