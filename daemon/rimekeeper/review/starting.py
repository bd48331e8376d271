"""The sheets from which a batch can be started, with the roles that need a probe."""

from __future__ import annotations

from typing import Any

from rimekeeper.core.plan import KitchenPlan
from rimekeeper.review.wording import Wording


def sheets_view(plan: KitchenPlan) -> list[dict[str, Any]]:
    """Every sheet with its roles and stages."""
    wording = Wording.of(plan)
    return [
        {
            "id": sheet.id,
            "name": sheet.name,
            "note": sheet.note,
            "allergens": list(sheet.allergens),
            "roles": [
                {
                    "id": role.id,
                    "name": role.name,
                    "stages": [stage.name for stage in sheet.stages if stage.role == role.id],
                }
                for role in sheet.roles
            ],
            "stages": [
                {
                    "name": stage.name,
                    "kind": stage.kind.value,
                    "portion": stage.portion,
                    "target_shown": wording.shown(stage.target.celsius) if stage.target else "",
                }
                for stage in sheet.stages
            ],
        }
        for sheet in plan.sheets.values()
    ]
