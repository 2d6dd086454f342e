"""What a takeoff left out of the drawings, by deck, layer and kind of entity, and by row."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tackfree.deck.declared import DeckDoc
from tackfree.deck.takeoff_rows import TakeoffRow, takeoff_rows
from tackfree.deck.types import FeatureKind
from tackfree.service.pipeline import Pipeline

K = FeatureKind
KINDS = {
    "obstacles": (K.COLUMN, K.OPENING),
    "edge": (K.COLUMN, K.OPENING),
    "upturn": (K.UPTURN,),
    "upturn-area": (K.UPTURN,),
    "cove": (K.UPTURN, K.COLUMN, K.OPENING),
    "crack": (K.CRACK,),
    "rout": (K.CRACK,),
    "joint": (K.JOINT,),
    "termination": (K.TERMINATION,),
    "saw-cut": (K.TERMINATION,),
    "drain": (K.DRAIN,),
    "penetration": (K.PENETRATION,),
    "stall": (K.STALL,),
}


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """Entities of one kind on one layer that no quantity was taken from."""

    deck_id: str
    layer: str
    entity: str
    count: int
    hidden: bool  # switched off or frozen


def left_out(made: Pipeline) -> tuple[LeftOut, ...]:
    """Everything left out, deck by deck."""
    return tuple(
        LeftOut(
            deck_id=deck_id,
            layer=str(m.values["layer"]),
            entity=str(m.values["entity"]),
            count=int(str(m.values["count"])),
            hidden=m.id == "intake.hidden",
        )
        for deck_id, said in made.drawings.said.items()
        for m in said
        if m.id in ("intake.ignored", "intake.hidden")
    )


def rows_of(made: Pipeline) -> tuple[TakeoffRow, ...]:
    """The takeoff's rows, each with what was left out on the layers it was taken from."""
    lost = left_out(made)
    docs = {d.id: d for d in made.job.decks}
    out = []
    for row in takeoff_rows(made.takeoff, made.drawings.decks):
        layers = _layers(docs[row.deck_id], row)
        mine = tuple(
            f"{x.count} {x.entity} ({x.layer})"
            for x in lost
            if x.deck_id == row.deck_id and _short(x.layer) in layers
        )
        out.append(replace(row, ignored=mine) if mine else row)
    return tuple(out)


def _layers(doc: DeckDoc, row: TakeoffRow) -> set[str]:
    kinds = KINDS.get(row.item)
    if kinds is None:
        names = {z.layer for z in doc.zones if z.id == row.zone_id and z.layer}
    else:
        names = {f.layer for f in doc.features if f.kind in kinds}
    return {_short(n) for n in names}


def _short(layer: str) -> str:
    """Bound drawings keep a layer's own name last; case never counts."""
    return layer.lower().rsplit("$0$", 1)[-1]
