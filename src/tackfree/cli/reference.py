"""The command reference, made from the commands themselves.

``python -m tackfree.cli.reference docs/commands.md`` writes it; a test compares.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import typer


def reference() -> str:
    """Every command with its arguments, options and the line to paste, as Markdown."""
    from tackfree.cli.app import app

    lines = [
        "# Commands",
        "",
        "Made from the commands themselves. Exit 0 done, 1 refused with reasons, 2 misused.",
        "Data goes to stdout and talk to stderr; `--json` gives one document.",
        "",
    ]
    _walk(typer.main.get_command(app), "tackfree", lines)
    return "\n".join(lines).rstrip() + "\n"


def _walk(command: Any, path: str, lines: list[str]) -> None:
    children = getattr(command, "commands", None)
    if children:
        for name in sorted(children):
            _walk(children[name], f"{path} {name}", lines)
        return
    lines += [f"## `{path}`", "", (command.help or "").strip(), ""]
    rows = []
    for p in command.params:
        if p.name == "help":
            continue
        option = p.param_type_name == "option"
        name = ", ".join(p.opts) if option else (p.metavar or str(p.name).upper())
        rows.append(f"- `{name}`: {(p.help or '').strip()}")
    lines += [*rows, ""]
    if command.epilog:
        lines += [f"`{command.epilog.removeprefix('Try: ')}`", ""]


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(reference(), "utf-8")
