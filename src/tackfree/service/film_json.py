"""Film evidence of one section and coat as JSON: SI, films in µm."""

from __future__ import annotations

from typing import Any

from shapely.geometry import mapping

from tackfree.service.evidence import Study
from tackfree.service.evidence_words import next_messages, sentence


def document(s: Study) -> dict[str, Any]:
    """The study as JSON. SI; films in µm."""
    verdicts = []
    shapes = {p.id: shape for p, shape in s.patches}
    for v in s.judged.verdicts if s.judged else ():
        x, y = s.grid.place(*v.thinnest)
        verdicts.append(
            {
                "patch": v.patch_id,
                "state": v.state.value,
                "chance": None if s.clash is not None else v.p,
                "chance_share": v.p_share,
                "chance_average": v.p_average,
                "share_mean": v.share_mean,
                "share_p05": v.share_band[0],
                "share_p95": v.share_band[1],
                "mean_um": v.mean_um,
                "mean_sd_um": v.mean_sd_um,
                "thinnest_um": v.thinnest_um,
                "thinnest_x_m": x,
                "thinnest_y_m": y,
                "top_up_l": v.top_up_l * (1 + s.loss),
                "kits": v.kits,
                "readings": v.readings,
                "sentence": sentence(s, v, "si"),
                "rules": [_rule(r) for r in v.rules],
                "messages": [m.to_json() for m in v.messages],
                "shape": mapping(shapes[v.patch_id]),
            }
        )
    clash = s.clash
    return {
        "section": s.section.id,
        "coat": s.coat.id,
        "claim": {
            "least_um": s.claim.least_um,
            "share": s.claim.share,
            "average_um": s.claim.average_um,
        },
        "contract": [_rule(r) for r in s.rules],
        "balance": None
        if s.balance is None
        else {
            "film_um": s.balance.film_um,
            "wanted_l": s.balance.wanted_l,
            "ratio": s.balance.ratio,
            "holds": s.balance.holds,
            "message": s.balance.message.to_json(),
        },
        "clash": None
        if clash is None
        else {
            "gauge_um": clash.gauge_um,
            "kits_um": clash.kits_um,
            "apart_sd": clash.apart_sd,
            "message": clash.message.to_json(),
            "causes": [m.to_json() for m in clash.causes],
        },
        "kits": len(s.kits),
        "cells": [{"kits": list(c.kits), "mean_um": c.mean_um, "sd_um": c.sd_um} for c in s.cells],
        "readings": len(s.reads),
        "verdicts": verdicts,
        "next": [m.to_json() for m in next_messages(s, "si")],
        "messages": [m.to_json() for m in s.messages],
    }


def _rule(r: Any) -> dict[str, Any]:
    return {"rule": r.rule, "holds": r.holds, "found": r.found, "wanted": r.wanted}
