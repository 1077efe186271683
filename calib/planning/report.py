"""A plan as one object, for ``plan --json`` and for people's text."""

from __future__ import annotations

from typing import Any

from calib.planning.plan import Plan
from calib.uncertainty import Propagated

__all__ = ["plan_json"]


def plan_json(plan: Plan) -> dict[str, Any]:
    """Everything of a plan under plain keys."""
    rise, process = plan.rise, plan.prepared.process
    t1 = float(plan.prepared.run.in_cup_C or 0.0)
    low, high = rise.rise.interval95
    return {
        "hazards": [one.to_json() for one in plan.hazards],
        "reaction": process.name,
        "kind": process.kind,
        "in_cup": str(plan.request.in_cup),
        "added": str(plan.request.added),
        "apparatus": plan.constant.apparatus,
        "constant_id": plan.constant.id,
        "constant_J_per_K": plan.constant.value_J_per_K,
        "u_constant_J_per_K": plan.constant.u_J_per_K,
        "constant_source": plan.constant.source,
        "fill_mL": plan.prepared.fill_mL,
        **_amounts(plan),
        "dH_kJ_per_mol": rise.dH.value if rise.dH is not None else None,
        "u_dH_kJ_per_mol": rise.dH.u if rise.dH is not None else None,
        "dH_source": rise.dH.source if rise.dH is not None else None,
        "dH_band": rise.band or None,
        "before_C": t1,
        "rise_K": rise.rise.value,
        "u_rise_K": rise.rise.u,
        "interval95_K": [low, high],
        "final_C": t1 + rise.rise.value,
        "shown_C": rise.shown.value,
        "u_shown_K": rise.shown.u,
        "interval95_shown_C": list(rise.shown.interval95),
        "shown_after_s": rise.after_s,
        "lost_before_K": rise.loss_K,
        "spread": _budget(rise.rise, "u_K"),
        "dissolving": [one.to_json() for one in plan.dissolving],
        "heat_limit": plan.heat.to_json(),
        **_result(plan),
        "wanted": plan.wanted.to_json() if plan.wanted is not None else None,
        "benches": plan.request.benches,
        "runs_each": plan.request.runs_each,
        "preparation": [one.to_json() for one in plan.preparations],
        "cautions": [{"substance": name, "lines": list(lines)} for name, lines in plan.cautions],
        "warnings": list(dict.fromkeys(plan.warnings)),
        "errors": [],
    }


def _amounts(plan: Plan) -> dict[str, Any]:
    """Limiting reagent, extent, and how far each reactant reaches. [mol]"""
    process = plan.prepared.process
    extent = process.extent
    if extent is None:
        return {"extent_mol": None, "limiting": None, "limiting_uncertain": False, "reaches": []}
    limiting = plan.rise.limiting
    brings = {
        species: sum(share.per_mole * share.portion.amount_mol for share in shares)
        for species, shares in process.brings.items()
    }
    return {
        "extent_mol": extent.extent_mol,
        "limiting": process.limiting_text,
        "limiting_uncertain": bool(limiting is not None and limiting.uncertain),
        "reaches": [
            {"substance": str(s), "mol": brings[s], "left_mol": extent.left.get(s, 0.0)}
            for s in process.reactants
        ],
    }


def _budget(found: Propagated, key: str) -> list[dict[str, Any]]:
    return [
        {"source": line.source, key: abs(line.contribution),
         "share_percent": line.share_percent, "shared": line.key is not None}
        for line in found.all_lines
        if abs(line.share_percent) >= 0.005
    ]  # fmt: skip


def _result(plan: Plan) -> dict[str, Any]:
    """The uncertainty that one bench's result will have, and what dominates it."""
    result = plan.result
    if result is None:
        return {"result": None, "u_result": None, "unit": None, "u_percent": None,
                "dominating": None, "result_budget": []}  # fmt: skip
    found = result.result
    budget = _budget(found, "u")
    return {
        "result": found.value,
        "u_result": found.u,
        "unit": result.unit,
        "u_percent": 100.0 * found.u / abs(found.value) if found.value else None,
        "dominating": budget[0]["source"] if budget else None,
        "result_budget": budget,
    }
