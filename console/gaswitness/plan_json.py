"""A plan's figures for machines. Compatible additions only; a change raises the number."""

import json
from typing import Final

from gaswitness_scenarios.plan import Plan
from gaswitness_scenarios.plan_report import PlanFigures
from gaswitness_scenarios.plan_wanted import KINDS

FORMAT: Final = 1


def plan_json(plan: Plan, found: PlanFigures) -> str:
    """Figures, tests, and every kind of every cell. Times in seconds."""
    return json.dumps(
        {
            "gaswitness_plan": FORMAT,
            "panel": plan.site.panel.tag,
            "length_s": round(found.length_s, 1),
            "gas_s": round(found.gas_s, 1),
            "gas_applications": found.applications,
            "lower_bound_s": round(found.bound_s, 1),
            "lower_bound_of": found.bound_words,
            "naive_gas_s": round(found.naive_s, 1),
            "naive_gas_applications": found.naive_applications,
            "steps": found.steps,
            "claims": found.claims,
            "kinds": KINDS,
            "rounds": [list(group) for group in plan.rounds],
            "tests": [
                {
                    "id": test.id,
                    "title": test.title,
                    "group": test.group,
                    "length_s": round(test.length_s, 1),
                    "gas_s": round(test.gas_s, 1),
                    "gas_applications": test.applications,
                    "claims": list(test.claims),
                    "moves": sorted(test.moves),
                }
                for test in plan.tests
            ],
            "cells": [
                {"cell": want.cell.id, "kind": want.kind, "planned": want.shown, "why": want.why}
                for want in found.wants
            ],
            "cannot_be_proven": list(found.unprovable),
        },
        indent=2,
        ensure_ascii=False,
    )
