"""One family of errors: what was wrong, where, and what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, order=True)
class Fault:
    """One thing wrong with what the user gave.

    ``where`` names file, key, section or place; ``what`` states the fault with
    its value and unit; ``do`` tells the remedy. All three end as sentences.
    """

    where: str
    what: str
    do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.do}"


class ToolError(Exception):
    """Root of every error Tackfree raises on purpose."""

    def __init__(self, message: str, *, where: str = "", do: str = "") -> None:
        super().__init__(message)
        self.where = where
        self.what = message
        self.do = do

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The error as faults, for pages and ``--json``."""
        return (Fault(where=self.where, what=self.what, do=self.do),)

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.what}" if self.where else self.what, self.do]
        return " ".join(p for p in parts if p)


class InputError(ToolError, ValueError):
    """A value that cannot be right."""


class Refused(ToolError, ValueError):
    """Several faults, reported together."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self._faults = tuple(faults)
        super().__init__("; ".join(str(f) for f in self._faults))

    @property
    def faults(self) -> tuple[Fault, ...]:
        return self._faults

    def __str__(self) -> str:
        return "\n".join(str(f) for f in self._faults)


class NotFound(ToolError, KeyError):
    """Something named does not exist."""

    def __str__(self) -> str:
        return ToolError.__str__(self)
