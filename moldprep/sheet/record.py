"""The record: everything on the sheet as plain numbers, units in the key names."""

from __future__ import annotations

import hashlib
import json
import math
from typing import Any

import msgspec
import numpy as np

from ..casting import CastPlan
from ..drain import Drain
from ..ease import Offer
from ..findings import Finding
from ..inside import Inside
from ..master import Master
from ..parting import Candidate, Seam
from ..pieces import Joint
from ..planning import Plan
from ..printing import PrintPlan
from ..pull import Pull, PullStudy
from ..sizing import Sizing
from ..stand import Stand

FORMAT = "moldprep-plan/1"
_DIGITS = 6
"""Decimals kept: a millionth of a millimetre, so that the same plan gives the same bytes."""


def record(plan: Plan) -> dict[str, Any]:
    """The plan as nested dictionaries, lists, strings and finite numbers (None where there is none)."""
    parting, block = plan.parting, plan.block
    found: dict[str, Any] = _plain(
        {
            "format": FORMAT,
            "name": plan.name,
            "job": msgspec.to_builtins(plan.job),
            "master": _master(plan.master, plan.sizing),
            "sizing": _sizing(plan.sizing),
            "stand": _stand(plan.stand),
            "pulls": [_pull(pull) for pull in plan.study.pulls],
            "axes": [msgspec.to_builtins(row) for row in plan.study.table],
            "cottle": {
                "kind": block.kind,
                "inner_mm": block.inner_mm,
                "turn_deg": block.turn_deg,
                "fill_mm": block.fill_mm,
                "wall_mm": block.wall_mm,
                "least_wall_mm": block.least_wall_mm,
                "greatest_wall_mm": block.greatest_wall_mm,
                "evenness": block.evenness,
            },
            "parting": {
                **_candidate(parting.chosen),
                "why": parting.chosen.why,
                "runners_up": [_candidate(candidate) for candidate in parting.runners_up],
            },
            "pieces": [
                {
                    "letter": piece.letter,
                    "name": piece.name,
                    "pull": piece.pull,
                    "volume_mm3": piece.volume_mm3,
                    "poured_mm3": piece.poured_mm3,
                    "least_draft_deg": piece.least_draft_deg,
                    "released": proof.released,
                }
                for piece, proof in zip(plan.pieces.pieces, plan.release.proofs, strict=True)
            ],
            "joints": [_joint(joint) for joint in plan.pieces.joints],
            "release": {
                "opens": plan.release.opens,
                "missing_mm3": plan.release.missing_mm3,
                "order": plan.release.order,
                "tolerance_mm": plan.release.tolerance_mm,
                "blocking_mm": plan.release.blocking,
                "proofs": [msgspec.to_builtins(proof) for proof in plan.release.proofs],
            },
            "ease": [_offer(offer) for offer in plan.ease.offers],
            "thin": [msgspec.to_builtins(place) for place in plan.thin.places],
            "poses": [msgspec.to_builtins(pose) for pose in plan.poses],
            "cottle_needs": [msgspec.to_builtins(need) for need in plan.needs],
            "boards": [
                {
                    "name": board.name,
                    "pieces": board.serves,
                    "kind": board.kind,
                    "prints_mm": [part.extents for part in board.prints],
                    "cuts": board.cuts,
                    "marked": board.marked,
                    "says": board.says,
                }
                for board in plan.boards.boards
            ],
            "balance": plan.pieces.balance,
            "pours": [
                {name: value for name, value in msgspec.to_builtins(pour).items() if name != "steps"}
                for pour in plan.pours.pours
            ],
            "plaster_total_g": plan.pours.plaster_total_g,
            "water_total_g": plan.pours.water_total_g,
            "wet_total_g": plan.pours.wet_total_g,
            "dry_total_g": plan.pours.dry_total_g,
            "heaviest_lift_g": plan.pours.heaviest_lift_g,
            "heaviest_lift": plan.pours.heaviest_lift,
            "cottle_loads": [msgspec.to_builtins(load) for load in plan.loads],
            "timing": msgspec.to_builtins(plan.pours.timing),
            "drying": {
                name: value
                for name, value in msgspec.to_builtins(plan.dry).items()
                if name not in ("steps", "findings")
            },
            "casting": _casting(plan.casting),
            "drain": None if plan.drain is None else _drain(plan.drain),
            "stock": msgspec.to_builtins(plan.stock),
            "estimate": None if plan.costs is None else msgspec.to_builtins(plan.costs),
            "cast": _cast(plan.inside),
            "sizes": [msgspec.to_builtins(size) for size in plan.outcomes],
            "printing": _printing(plan.printing),
            "findings": [msgspec.to_builtins(finding) for finding in plan.findings],
        }
    )
    found["job"] = json.loads(msgspec.json.encode(plan.job))  # not rounded: it gives the same plan again
    return found


def check_record(
    master: Master, sizing: Sizing, stand: Stand, study: PullStudy, findings: tuple[Finding, ...]
) -> dict[str, Any]:
    """The part of the record that a check alone can fill, under the same keys."""
    found: dict[str, Any] = _plain(
        {
            "format": FORMAT,
            "name": master.name,
            "master": _master(master, sizing),
            "sizing": _sizing(sizing),
            "stand": _stand(stand),
            "pulls": [_pull(pull) for pull in study.pulls],
            "axes": [msgspec.to_builtins(row) for row in study.table],
            "findings": [msgspec.to_builtins(finding) for finding in findings],
        }
    )
    return found


def record_json(plan: Plan) -> bytes:
    """The record as JSON: the same bytes for the same input."""
    return (json.dumps(record(plan), indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def record_hash(data: bytes) -> str:
    """Eight characters that tell one record from another; printed at the foot of each page."""
    return hashlib.sha256(data).hexdigest()[:8]


def _master(master: Master, sizing: Sizing) -> dict[str, Any]:
    return {
        "triangles": len(master.mesh.faces),
        "closed": True,  # a master is refused otherwise
        "units": master.units,
        "steps": master.steps,
        "source_sha256": master.source_digest,
        "size_mm": sizing.master_size_mm,
        "volume_mm3": sizing.mesh.volume,
    }


def _sizing(sizing: Sizing) -> dict[str, Any]:
    return {
        "shrinkage": (sizing.width_shrinkage, sizing.width_shrinkage, sizing.height_shrinkage),
        "uncertainty": sizing.uncertainty,
        "factor": sizing.factor,
        "scale": sizing.scale,
        "fired_size_mm": sizing.fired_size_mm,
    }


def _stand(stand: Stand) -> dict[str, Any]:
    return {
        "opening": stand.opening,
        "chosen_by_form": stand.chosen_by_form,
        "reason": stand.reason,
        "rim_mm": stand.rim_mm,
        "top_mm": stand.top_mm,
        "floor_mm": stand.floor_mm,
        "spare_mm": stand.spare_mm,
        "foot_recess_mm": stand.foot_recess_mm,
    }


def _pull(pull: Pull) -> dict[str, Any]:
    return {
        "name": pull.name,
        "direction": pull.direction,
        "pitch_mm": pull.pitch_mm,
        "gap_mm3": pull.gap_mm3,
        "one_way_mm3": pull.one_way_mm3,
        "locked_mm2": pull.locked_mm2,
        "tight_mm2": pull.tight_mm2,
        "reach_mm": pull.reach_mm,
        "one_way_reach_mm": pull.one_way_reach_mm,
        "places": [
            {"number": p.number, "where": p.where, "reach_mm": p.reach_mm, "volume_mm3": p.volume_mm3}
            for p in pull.places
        ],
        "verdict": pull.verdict,
    }


def _cast(inside: Inside) -> dict[str, Any]:
    curve = inside.fill
    return {
        "mode": inside.mode,
        "wall_mm": inside.wall_mm,
        "vessel": inside.vessel,
        "spill_mm": inside.spill_mm,
        "capacity_wet_ml": inside.capacity_ml,
        "capacity_fired_ml": inside.fired_capacity_ml,
        "throat_mm": inside.throat_mm,
        "throat_at": inside.throat_at,
        "clay_ml": inside.clay_ml,
        "slip_ml": inside.slip_ml,
        "slip_kept_ml": inside.slip_kept_ml,
        "weights": msgspec.to_builtins(inside.weights),
        "closing": [msgspec.to_builtins(place) for place in inside.closing],
        "fill": None
        if curve is None
        else {
            "height_mm": curve.height_mm,
            "wet_ml": curve.wet_ml,
            "fired_height_mm": curve.fired_height_mm,
            "fired_ml": curve.fired_ml,
        },
    }


def _casting(made: CastPlan) -> dict[str, Any]:
    takes = made.absorption
    return {
        "wall_mm": made.wall_mm,
        "rate_mm2_min": made.rate.rate,
        "rate_low_mm2_min": made.rate.low,
        "rate_high_mm2_min": made.rate.high,
        "trials": made.rate.trials,
        "minutes": made.minutes,
        "walls": msgspec.to_builtins(made.walls),
        "slip": msgspec.to_builtins(made.slip),
        "level": msgspec.to_builtins(made.drop),
        "bucket_casts": made.bucket_casts,
        "air_hours": made.air_hours,
        "shelf_hours": made.shelf_hours,
        "water_ml": takes.water_ml,
        "holds_ml": takes.holds_ml,
        "casts_between": takes.casts_between,
        "worst_wall": msgspec.to_builtins(takes.wall),
        "worst_between": msgspec.to_builtins(takes.between),
        "middle_casts": takes.middle,
    }


def _drain(made: Drain) -> dict[str, Any]:
    return {
        "straight": msgspec.to_builtins(made.straight),
        "tilts": [msgspec.to_builtins(tilt) for tilt in made.tilts],
        "least": msgspec.to_builtins(made.least),
        "best": msgspec.to_builtins(made.best),
        "stays": [msgspec.to_builtins(place) for place in made.stays],
        "holds": [msgspec.to_builtins(hold) for hold in made.holds],
        "pockets": [msgspec.to_builtins(pocket) for pocket in made.pockets],
        "gulps": made.gulps,
    }


def _offer(offer: Offer) -> dict[str, Any]:
    return {
        name: getattr(offer, name)
        for name in (
            "kind",
            "says",
            "taper_deg",
            "greatest_mm",
            "volume_mm3",
            "locked_before_mm2",
            "locked_after_mm2",
            "tight_before_mm2",
            "tight_after_mm2",
        )
    }


def _printing(made: PrintPlan) -> dict[str, Any]:
    return {
        "filament_g": made.filament_g,
        "filament_m": made.filament_m,
        "support_g": made.support_g,
        "saved_g": made.saved_g,
        "sections": [
            {
                name: getattr(section, name)
                for name in (
                    "name",
                    "bottom_mm",
                    "top_mm",
                    "attitude",
                    "joint",
                    "overhang_mm2",
                    "support_mm3",
                    "support_g",
                    "filament_g",
                    "filament_m",
                    "bodies",
                    "size_mm",
                    "fits_bed",
                )
            }
            | {"pins": [msgspec.to_builtins(pin) for pin in section.pins]}
            for section in made.sections
        ],
        "in_one_go": [msgspec.to_builtins(way) for way in made.attitudes],
        "surfaces": [msgspec.to_builtins(surface) for surface in made.surfaces],
        "hottest_c": made.heat.hottest_c,
        "softens_c": made.heat.softens_c,
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    return {
        "family": candidate.family,
        "piece_count": candidate.piece_count,
        "axis": candidate.axis,
        "planes": candidate.planes_mm,
        "layers": [msgspec.to_builtins(layer) for layer in candidate.layers],
        "excess_mm3": candidate.excess_mm3,
        "locked_mm3": candidate.locked_mm3,
        "reach_mm": candidate.reach_mm,
        "price": candidate.price,
        "seams": [_seam(seam) for seam in candidate.seams],
    }


def _seam(seam: Seam) -> dict[str, Any]:
    return {str(name): value for name, value in msgspec.to_builtins(seam).items()}


def _joint(joint: Joint) -> dict[str, Any]:
    return {
        "socket": joint.socket,
        "knob": joint.knob,
        "normal": joint.normal,
        "offset_mm": joint.offset_mm,
        "area_mm2": joint.area_mm2,
        "kind": joint.kind,
        "natches": [msgspec.to_builtins(natch) for natch in joint.natches],
        "reason": joint.reason,
    }


def _plain(value: Any) -> Any:
    """Numbers rounded and finite or None, arrays and tuples as lists, all else as it is."""
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(part) for part in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return round(float(value), _DIGITS) + 0.0 if math.isfinite(value) else None
    return value
