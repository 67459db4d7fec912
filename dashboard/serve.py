"""Start the page."""

from __future__ import annotations

import sys
from pathlib import Path


def serve(port: int | None, no_browser: bool) -> int:
    """Serve the page until it is stopped.

    Parameters
    ----------
    port : int or None
        Port; the server's own choice if None.
    no_browser : bool
        Do not open a browser.

    Returns
    -------
    int
        Exit status.
    """
    from streamlit.web import cli

    print(
        "Storeypace: the first start after installation compiles the schedule: about 15 seconds.", flush=True
    )
    flags = ["--server.headless", "true"] if no_browser else []
    if port is not None:
        flags += ["--server.port", str(port)]
    script = Path(__file__).with_name("app.py")
    sys.argv = ["streamlit", "run", str(script), *flags]
    result = cli.main(["run", str(script), *flags], prog_name="storeypace", standalone_mode=False)
    return int(result or 0)
