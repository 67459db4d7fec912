"""Both faces of the model: the page (`app.py`) and the command line (`cli.py`)."""
