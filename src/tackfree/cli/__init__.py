"""The command line: noun, verb. Parses, calls one service function, prints."""


def main() -> None:
    """Entry point of ``tackfree``; imports nothing heavy before it must."""
    from tackfree.cli.app import run

    run()
