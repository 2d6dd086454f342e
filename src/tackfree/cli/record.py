"""``record add``, ``record list``, ``record verify``."""

from __future__ import annotations

import typer

app = typer.Typer(no_args_is_help=True, help="What happened on the deck; entries are only added.")
