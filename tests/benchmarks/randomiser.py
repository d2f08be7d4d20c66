"""Time and achieved balance of serving plans, beside the proven bounds.

Run from the top folder: python tests/benchmarks/randomiser.py
"""

import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from panel.randomiser import ServingPlan, serving_plan

CASES: list[tuple[str, dict[str, Any]]] = [
    ("5 samples, 24 tasters", {"samples": 5, "tasters": 24}),
    ("6 samples, 24 tasters", {"samples": 6, "tasters": 24}),
    ("7 samples, 10 tasters", {"samples": 7, "tasters": 10}),
    ("15 samples, 1000 tasters", {"samples": 15, "tasters": 1000}),
    ("30 samples, 500 tasters", {"samples": 30, "tasters": 500}),
    ("15 by 5, 24 tasters", {"samples": 15, "tasters": 24, "per_taster": 5}),
    ("15 by 5, 42 tasters", {"samples": 15, "tasters": 42, "per_taster": 5}),
    ("15 by 5, 1000 tasters", {"samples": 15, "tasters": 1000, "per_taster": 5}),
    ("15 by 3, 5 sittings, 7 tasters", {"samples": 15, "tasters": 7, "per_taster": 3, "sittings": 5}),
    ("15 by 5, 3 sittings, 8 tasters", {"samples": 15, "tasters": 8, "per_taster": 5, "sittings": 3}),
    ("15 by 5, reference, 24 tasters", {"samples": 15, "tasters": 24, "per_taster": 5, "reference": 0}),
    ("30 by 6, 100 tasters", {"samples": 30, "tasters": 100, "per_taster": 6}),
    ("triangle, 1000 tasters", {"samples": 2, "tasters": 1000, "method": "triangle"}),
    ("4 samples, 2 conditions, 60 tasters", {"samples": 4, "tasters": 60, "conditions": 2}),
]
HEAD = f"{'plan':38}{'seconds':>9}   spread achieved / proven bound"


def line_of(name: str, plan: ServingPlan, seconds: float) -> str:
    balance = plan.balance[0]
    parts = []
    for word, achieved, bound in (
        ("place", balance.position_spread, "position"),
        ("carry-over", balance.carry_over_spread, "carry_over"),
        ("meetings", balance.concurrence_spread, "concurrence"),
    ):
        proven = getattr(plan.bounds[0], bound) if plan.bounds else None
        if proven is not None:
            parts.append(f"{word} {achieved}/{proven}")
        elif not plan.bounds and word == "place":
            parts.append(f"place {achieved}")
    if plan.per_taster:
        parts.append(f"efficiency {balance.efficiency:.4f}/{balance.efficiency_bound:.4f}")
    return f"{name:38}{seconds:9.2f}   {', '.join(parts)}"


def run() -> None:
    print(HEAD)
    for name, arguments in CASES:
        start = time.perf_counter()
        plan = serving_plan(seed=1, **arguments)
        print(line_of(name, plan, time.perf_counter() - start))


if __name__ == "__main__":
    run()
