"""Which scenarios come with the tool, and where are they?

They lie in the folder ``scenarios`` beside the package. Where only the package was installed there is none;
the page then opens on `MINIMAL`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).resolve().parent.parent / "scenarios"
OPENING: Final = "pitch.toml"
"""The scenario the page opens on."""

TITLES: Final = {
    "pitch.toml": "Three blocks, 8 to 22 storeys",
    "large.toml": "Six blocks, 7 to 29 storeys",
    "two_storey.toml": "Two storeys, to check by hand",
}

MINIMAL: Final = """\
# The least a scenario needs. Names and figures are invented.
[development]
name = "Sample Yard"
place = "london"
start = 2027-04-05

[[blocks]]
name = "East"
storeys = 8
flats_per_storey = 9
"""


def shipped(folder: Path = FOLDER) -> dict[str, str]:
    """Return what each scenario that can be had is called, by file name, the opening one first.

    Parameters
    ----------
    folder : Path
        Where they lie.

    Returns
    -------
    dict of str to str
        Title by file name; ``minimal.toml`` alone where the folder is absent.
    """
    titles = {name: title for name, title in TITLES.items() if (folder / name).is_file()}
    return titles or {"minimal.toml": "One block of eight storeys"}


def text_of(name: str, folder: Path = FOLDER) -> str:
    """Return the text of a scenario of `shipped`."""
    path = folder / name
    return path.read_text(encoding="utf-8") if name in TITLES and path.is_file() else MINIMAL
