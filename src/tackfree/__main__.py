"""Run the command line with ``python -m tackfree``."""

from tackfree.cli import main

if __name__ == "__main__":
    main()
