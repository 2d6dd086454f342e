"""Which cautions stand beside a piece of work.

Advice never certifies: every sentence ends with where to look. The rules are
data (``cautions.toml``); the sentences are in the catalogues, area ``caution``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from importlib import resources

from tackfree.words import Message

NOT_COATS = frozenset({"PREP", "DETAILS", "SWEEP", "STRIPE", "TEST"})


@dataclass(frozen=True, kw_only=True)
class CautionRule:
    """One line of the table; an empty condition does not restrict."""

    id: str
    steps: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    post_tensioned: tuple[str, ...] = ()
    exposures: tuple[str, ...] = ()
    night: bool = False

    def applies(
        self,
        step: str,
        hazards: Collection[str],
        post_tensioned: str,
        exposure: str,
        night: bool,
    ) -> bool:
        kinds = {step} if step in NOT_COATS else {step, "COAT"}
        return (
            bool(kinds.intersection(self.steps) or set(self.hazards).intersection(hazards))
            and (not self.post_tensioned or post_tensioned in self.post_tensioned)
            and (not self.exposures or exposure in self.exposures)
            and (night or not self.night)
        )


@cache
def rules() -> tuple[CautionRule, ...]:
    """The table, read once from the package's own data."""
    text = resources.files("tackfree.words").joinpath("cautions.toml").read_text("utf-8")
    lists = ("steps", "hazards", "post_tensioned", "exposures")
    return tuple(
        CautionRule(
            id=row["id"],
            night=bool(row.get("night", False)),
            **{name: tuple(row.get(name, ())) for name in lists},
        )
        for row in tomllib.loads(text)["caution"]
    )


def known_hazards() -> frozenset[str]:
    """Every hazard a product sheet may name and find a caution for."""
    return frozenset(h for rule in rules() for h in rule.hazards)


def cautions_for(
    step: str,
    hazards: Collection[str],
    post_tensioned: str,
    exposure: str,
    night: bool,
) -> tuple[Message, ...]:
    """The cautions of one section × step, in the order of the table.

    Parameters
    ----------
    step : PREP, DETAILS, a coat id, SWEEP or STRIPE
    hazards : hazards named by the products used
    post_tensioned : "yes", "no" or "unknown" of the deck
    exposure : exposure of the section
    night : work after dark

    Returns
    -------
    tuple of Message
        Ids ``caution.<id>``; a hazard without a rule gives ``caution.unlisted``
        with its name, so that nothing a product sheet says is lost. Never empty:
        ``caution.sheet-first`` closes every list.

    Examples
    --------
    >>> [m.id for m in cautions_for("STRIPE", (), "no", "on-grade", False)]
    ['caution.traffic', 'caution.sheet-first']
    """
    found = [
        Message(id=f"caution.{rule.id}")
        for rule in rules()
        if rule.applies(step, hazards, post_tensioned, exposure, night)
    ]
    known = known_hazards()
    found += [
        Message(id="caution.unlisted", values={"hazard": h})
        for h in sorted(set(hazards))
        if h not in known
    ]
    found.append(Message(id="caution.sheet-first"))
    return tuple(found)
