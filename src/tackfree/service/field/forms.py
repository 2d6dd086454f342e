"""One description of what each kind of entry asks; the page makes its forms from it.

Names, choices and what is needed are those of the models in ``record.kinds``; a test
holds the two together. Labels are in the words of the area ``field``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tackfree.record.kinds import KINDS


@dataclass(frozen=True, kw_only=True)
class Ask:
    """One thing asked.

    ``takes`` says what the page shows: number, whole, words, text, choice, yes-no, when,
    day, section, sections, coat, product, deck, crew, entry (of the kind ``of``), lots,
    part-lots, photo. ``of`` is the quantity of a number (temperature, share, speed,
    length, small-length, area, mass, volume, hours, stress, rain, plain). ``last`` fills
    in the last value.
    """

    name: str
    takes: str
    of: str = ""
    choices: tuple[str, ...] = ()
    needed: bool = False
    last: bool = False

    def to_json(self) -> dict[str, Any]:
        """Without what is left at its default, for a phone's sake."""
        out: dict[str, Any] = {"name": self.name, "takes": self.takes}
        if self.of:
            out["of"] = self.of
        if self.choices:
            out["choices"] = list(self.choices)
        if self.needed:
            out["needed"] = True
        if self.last:
            out["last"] = True
        return out


@dataclass(frozen=True, kw_only=True)
class Form:
    """The form of one kind. ``group`` is its place in the menu; "" is not in the menu."""

    kind: str
    group: str
    asks: tuple[Ask, ...]
    v: int = 1

    def to_json(self) -> dict[str, Any]:
        """With the least and the most that each number may be, from the kind's own model."""
        limits = _limits(self.kind, self.v)
        return {
            "kind": self.kind,
            "v": self.v,
            "group": self.group,
            "asks": [{**a.to_json(), **limits.get(a.name, {})} for a in self.asks],
        }


_BOUNDS = {
    "minimum": "least", "exclusiveMinimum": "above", "maximum": "most", "exclusiveMaximum": "below",
}  # fmt: skip


def _limits(kind: str, version: int) -> dict[str, dict[str, float]]:
    """Field -> its bounds, in SI as stored."""
    found = {}
    for name, one in KINDS[kind, version].model_json_schema()["properties"].items():
        rules = [one, *one.get("anyOf", ())]
        found[name] = {word: rule[key] for rule in rules for key, word in _BOUNDS.items()
                       if key in rule}  # fmt: skip
    return found


def _section(needed: bool = False) -> Ask:
    return Ask(name="section", takes="section", needed=needed, last=True)


COAT = Ask(name="coat", takes="coat", last=True)
COAT_NEEDED = Ask(name="coat", takes="coat", needed=True, last=True)
PRODUCT = Ask(name="product", takes="product", last=True)
LOT = Ask(name="lot", takes="words", last=True)
NOTE = Ask(name="note", takes="text")
INSTRUMENT = Ask(name="instrument", takes="words", last=True)
READER = Ask(name="reader", takes="choice", choices=("crew", "inspector"), last=True)
AREA = Ask(name="area_m2", takes="number", of="area")

FORMS: tuple[Form, ...] = (
    Form(kind="conditions", group="weather", asks=(
        Ask(name="slab_c", takes="number", of="temperature", needed=True, last=True),
        Ask(name="air_c", takes="number", of="temperature", needed=True, last=True),
        Ask(name="rh", takes="number", of="share", needed=True, last=True),
        Ask(name="wind_m_s", takes="number", of="speed", last=True),
        Ask(name="sky", takes="choice", last=True, choices=(
            "clear", "partly", "overcast", "rain", "snow", "fog", "covered")),
        _section(),
        Ask(name="place", takes="words", last=True),
        INSTRUMENT,
        Ask(name="called", takes="choice", choices=("go", "wait")),
        Ask(name="called_by", takes="words", last=True),
    )),
    Form(kind="weather-event", group="weather", asks=(
        Ask(name="what", takes="choice", needed=True, choices=(
            "rain", "dew", "fog", "wind", "frost", "snow", "hail", "heat", "dust")),
        Ask(name="began", takes="when", needed=True),
        Ask(name="ended", takes="when"),
        Ask(name="amount_mm", takes="number", of="rain"),
        Ask(name="on_wet_film", takes="yes-no"),
        Ask(name="sections", takes="sections"),
        NOTE,
    )),
    Form(kind="readiness", group="surface", asks=(
        _section(),
        Ask(name="step", takes="step", needed=True, last=True),
        Ask(name="profile", takes="whole"),
        Ask(name="sound", takes="yes-no"),
        Ask(name="dry", takes="yes-no"),
        Ask(name="clean", takes="yes-no"),
        Ask(name="patch_age_h", takes="number", of="hours"),
        Ask(name="ready", takes="yes-no", needed=True),
        NOTE,
    )),
    Form(kind="area-prepared", group="surface", asks=(
        _section(),
        Ask(name="method", takes="choice", needed=True, last=True, choices=(
            "shot-blast", "grind", "scarify", "water-blast", "hand", "other")),
        Ask(name="area_m2", takes="number", of="area", needed=True),
        Ask(name="edges_m", takes="number", of="length"),
        Ask(name="started", takes="when"),
        Ask(name="stopped", takes="when"),
        NOTE,
    )),
    Form(kind="moisture", group="surface", asks=(
        _section(),
        Ask(name="method", takes="choice", needed=True, last=True, choices=(
            "probe-rh", "meter", "chloride", "sheet")),
        Ask(name="value", takes="number", of="plain", needed=True),
        Ask(name="depth_m", takes="number", of="small-length"),
        INSTRUMENT,
        READER,
    )),
    Form(kind="aggregate", group="work", asks=(
        _section(needed=True),
        COAT_NEEDED,
        Ask(name="product", takes="product", needed=True, last=True),
        Ask(name="bags", takes="number", of="plain", needed=True),
        Ask(name="bag_kg", takes="number", of="mass", last=True),
        LOT,
        Ask(name="dry", takes="yes-no"),
        Ask(name="swept_back_kg", takes="number", of="mass"),
    )),
    Form(kind="detail-length", group="work", asks=(
        _section(),
        Ask(name="detail", takes="choice", needed=True, last=True, choices=(
            "crack", "joint", "cove", "upturn", "termination", "drain", "penetration")),
        Ask(name="length_m", takes="number", of="length", needed=True),
        Ask(name="width_m", takes="number", of="small-length"),
        PRODUCT,
        LOT,
        NOTE,
    )),
    Form(kind="cure-seen", group="work", asks=(
        _section(needed=True),
        COAT_NEEDED,
        Ask(name="tack_free", takes="yes-no", needed=True),
        Ask(name="blush", takes="yes-no"),
        Ask(name="soft_share", takes="number", of="share"),
        Ask(name="ready", takes="yes-no"),
        NOTE,
    )),
    Form(kind="crew-hours", group="work", asks=(
        Ask(name="crew", takes="crew", needed=True, last=True),
        Ask(name="people", takes="whole", needed=True, last=True),
        Ask(name="hours", takes="number", of="hours", needed=True, last=True),
        Ask(name="day", takes="day"),
        Ask(name="doing", takes="words", last=True),
        _section(),
    )),
    Form(kind="delay", group="work", asks=(
        Ask(name="cause", takes="choice", needed=True, choices=(
            "weather", "access", "other-trade", "material", "plant", "surface",
            "inspection", "owner", "design", "crew", "safety", "other")),
        Ask(name="hours", takes="number", of="hours", needed=True),
        Ask(name="people", takes="whole", last=True),
        Ask(name="what", takes="text", needed=True),
        Ask(name="began", takes="when"),
        Ask(name="sections", takes="sections"),
        Ask(name="told", takes="words", last=True),
        Ask(name="told_at", takes="when"),
    )),
    Form(kind="delivery", group="work", asks=(
        Ask(name="product", takes="product", needed=True, last=True),
        Ask(name="kits", takes="whole", needed=True),
        Ask(name="parts", takes="part-lots"),
        Ask(name="slip", takes="words"),
        Ask(name="stored_at", takes="words", last=True),
        Ask(name="temperature_c", takes="number", of="temperature"),
        NOTE,
    )),
    Form(kind="hold", group="judged", asks=(
        _section(),
        Ask(name="reason", takes="text", needed=True),
        Ask(name="point", takes="words"),
        Ask(name="until", takes="text"),
    )),
    Form(kind="release", group="judged", asks=(
        _section(needed=True),
        Ask(name="of", takes="choice", needed=True, choices=(
            "recoat", "feet", "cars", "hold", "striping")),
        COAT,
        Ask(name="by", takes="words", needed=True, last=True),
        Ask(name="on_behalf_of", takes="words", last=True),
        Ask(name="ends_hold", takes="entry", of="hold"),
        Ask(name="conditions", takes="text"),
    )),
    Form(kind="defect", group="judged", asks=(
        _section(),
        Ask(name="what", takes="choice", needed=True, choices=(
            "thin", "pinholes", "blisters", "soft", "debonded", "exposed", "lap", "puddle",
            "missed-window", "wet", "dirt", "texture", "leak", "other")),
        COAT,
        AREA,
        Ask(name="length_m", takes="number", of="length"),
        Ask(name="cause", takes="text"),
        NOTE,
    )),
    Form(kind="repair", group="judged", asks=(
        Ask(name="defect", takes="entry", of="defect", needed=True),
        Ask(name="action", takes="text", needed=True),
        PRODUCT,
        LOT,
        AREA,
        Ask(name="accepted_by", takes="words"),
        Ask(name="closed", takes="yes-no"),
    )),
    Form(kind="pull-off", group="judged", asks=(
        _section(needed=True),
        Ask(name="set", takes="words", needed=True, last=True),
        Ask(name="fixture", takes="words", needed=True),
        Ask(name="stress_pa", takes="number", of="stress", needed=True),
        Ask(name="in_concrete", takes="number", of="share", needed=True),
        Ask(name="at_bond", takes="number", of="share"),
        Ask(name="in_coating", takes="number", of="share"),
        Ask(name="glue", takes="number", of="share"),
        Ask(name="diameter_m", takes="number", of="small-length", last=True),
        INSTRUMENT,
        READER,
    )),
    Form(kind="flood", group="judged", asks=(
        _section(needed=True),
        Ask(name="depth_m", takes="number", of="small-length"),
        Ask(name="by_flow", takes="yes-no"),
        Ask(name="started", takes="when", needed=True),
        Ask(name="stopped", takes="when"),
        Ask(name="leaked", takes="yes-no"),
        Ask(name="attended_by", takes="words"),
        NOTE,
    )),
    Form(kind="slip", group="judged", asks=(
        _section(needed=True),
        Ask(name="method", takes="choice", needed=True, last=True,
            choices=("pendulum", "tribometer")),
        Ask(name="value", takes="number", of="plain", needed=True),
        Ask(name="wet", takes="yes-no"),
        INSTRUMENT,
        READER,
    )),
    Form(kind="hardness", group="judged", asks=(
        _section(needed=True),
        COAT_NEEDED,
        Ask(name="shore_a", takes="number", of="plain", needed=True),
        INSTRUMENT,
        READER,
    )),
    Form(kind="instrument-check", group="judged", asks=(
        Ask(name="instrument", takes="words", needed=True, last=True),
        Ask(name="what", takes="choice", needed=True, last=True, choices=(
            "notch-gauge", "thermometer", "hygrometer", "surface-probe", "moisture-meter",
            "pull-tester", "slip-tester", "hardness-tester", "scale", "other")),
        Ask(name="against", takes="words", needed=True, last=True),
        Ask(name="passed", takes="yes-no", needed=True),
        Ask(name="read", takes="number", of="plain"),
        Ask(name="known", takes="number", of="plain"),
        Ask(name="certificate", takes="words", last=True),
        Ask(name="due", takes="day"),
    )),
    Form(kind="visit", group="people", asks=(
        Ask(name="who", takes="words", needed=True, last=True),
        Ask(name="of", takes="choice", needed=True, last=True, choices=(
            "inspector", "engineer", "owner", "maker", "authority", "other")),
        Ask(name="arrived", takes="when"),
        Ask(name="left", takes="when"),
        Ask(name="saw", takes="text", needed=True),
        Ask(name="sections", takes="sections"),
        Ask(name="signed", takes="yes-no"),
    )),
    Form(kind="notice", group="people", asks=(
        Ask(name="point", takes="words", needed=True, last=True),
        Ask(name="to", takes="words", needed=True, last=True),
        Ask(name="ready_at", takes="when", needed=True),
        _section(),
        COAT,
        Ask(name="by", takes="choice", choices=("call", "message", "letter", "in-person"),
            last=True),
        NOTE,
    )),
    Form(kind="notice-answer", group="people", asks=(
        Ask(name="notice", takes="entry", of="notice", needed=True),
        Ask(name="answer", takes="choice", needed=True,
            choices=("comes", "waives", "refuses", "no-answer")),
        Ask(name="who", takes="words"),
        Ask(name="at", takes="when"),
        NOTE,
    )),
    Form(kind="note", group="people", asks=(
        Ask(name="text", takes="text", needed=True),
        _section(),
    )),
    Form(kind="photo", group="people", asks=(
        Ask(name="sha256", takes="photo", needed=True),
        Ask(name="shows", takes="text"),
        _section(),
        COAT,
    )),
    # Made on the drawing; here so that one that was refused can be mended.
    Form(kind="batch", group="", asks=(
        Ask(name="kit", takes="words", needed=True),
        Ask(name="product", takes="product", needed=True),
        _section(needed=True),
        COAT_NEEDED,
        Ask(name="parts", takes="lots"),
        Ask(name="temperature_c", takes="number", of="temperature", last=True),
        Ask(name="volume_l", takes="number", of="volume"),
        Ask(name="b_in", takes="yes-no"),
        Ask(name="mixer", takes="words", last=True),
    )),
    Form(kind="placement", group="", asks=(
        Ask(name="kit", takes="words", needed=True),
        _section(needed=True),
        COAT_NEEDED,
        Ask(name="cell", takes="words"),
        Ask(name="area_m2", takes="number", of="area"),
        Ask(name="leftover_l", takes="number", of="volume"),
    )),
    Form(kind="film-reading", group="", asks=(
        _section(needed=True),
        COAT_NEEDED,
        Ask(name="wet_tooth", takes="number", of="plain"),
        Ask(name="dry_tooth", takes="number", of="plain"),
        Ask(name="unit", takes="choice", needed=True, choices=("mil", "um")),
        Ask(name="gauge", takes="words", needed=True, last=True),
        Ask(name="feet", takes="choice", choices=("peaks", "valleys")),
        Ask(name="after_sand", takes="yes-no"),
        READER,
    )),
    Form(kind="correction", group="", asks=(
        Ask(name="reason", takes="text", needed=True),
    )),
)  # fmt: skip
