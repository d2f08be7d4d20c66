"""Sensory statistics: arrays and data frames in, frozen results out.

Every public name is flat here and loads its module when first used, so that `import stats` stays cheap.
Frames are long: columns `taster, sample, score` and where present `replicate, position, condition,
attribute`. Results carry `method`, `notes`, `to_dict()` and `sentence()`.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import Any

# Public name -> module of this package that holds it.
HOME: dict[str, str] = {
    "guess_probability": "thurstone",
    "percent_correct": "thurstone",
    "d_prime": "thurstone",
    "difference_test": "discrimination",
    "similarity_test": "discrimination",
    "critical_correct": "discrimination_exact",
    "critical_similar": "discrimination_exact",
    "panel_consistency": "consistency",
    "mandel": "mandel",
    "order_effects": "order_effects",
    "friedman": "ranking",
    "ordinal_check": "liking_ordinal",
    "permutation_anova": "liking_permutation",
    "anova_by_attribute": "liking_attributes",
    "least_significant_difference": "ranking",
    "page_trend": "ranking_trend",
    "skillings_mack": "ranking_incomplete",
    "durbin": "ranking_incomplete",
    "hedonic_anova": "liking",
    "kendall_w": "ranking",
    "holm": "multiplicity",
    "benjamini_hochberg": "multiplicity",
    "expected_false_findings": "multiplicity",
    "compact_letters": "comparisons_letters",
    "required_tasters": "sample_size",
    "required_tasters_for_similarity": "sample_size",
    "difference_power": "sample_size",
    "similarity_power": "sample_size",
    "smallest_difference": "sample_size",
    "paired_preference": "preference",
    "a_not_a_test": "discrimination_two_product",
    "same_different_test": "discrimination_two_product",
    "replicated_test": "replication",
    "compare_d_primes": "discrimination_comparison",
    "sequential_test": "sequential",
    "detectable_difference": "sample_size_ratings",
    "rating_power": "sample_size_ratings",
    "pair_power": "sample_size_ratings",
    "required_raters": "sample_size_ratings",
    "preference_power": "sample_size_preference",
    "required_tasters_for_preference": "sample_size_preference",
    "ranking_power": "sample_size_preference",
    "required_tasters_for_ranking": "sample_size_preference",
    "two_product_power": "sample_size_two_product",
    "required_servings": "sample_size_two_product",
    "penalty_analysis": "just_about_right",
    "check_all": "check_all",
    "bradley_terry": "paired_comparisons",
    "circular_triads": "paired_comparisons",
    "profile": "profile",
    "camps": "camps",
    "response_patterns": "response_patterns",
    "cooling": "cooling",
    "time_in_window": "cooling",
    "time_until_below": "cooling_readings",
    "on_one_ambient": "cooling_readings",
    "value_at": "cooling_readings",
    "replicated_comparison": "replicated_comparison",
    "measurement_uncertainty": "measurement_uncertainty",
    "combined_uncertainty": "measurement_uncertainty",
    "coverage_factor": "measurement_uncertainty",
    "rounded_to_uncertainty": "measurement_uncertainty",
    "adjusted_means": "taster_means",
    "rank_chances": "rank_chances",
    "joint_pairs": "joint_pairs",
    "pareto_front": "pareto",
    "weight_range": "weight_ranges",
    "rank_agreement": "rank_agreement",
    "Estimate": "results",
    "Result": "results",
}

__all__ = sorted(HOME)


def __getattr__(name: str) -> Any:
    if name in HOME:
        return getattr(importlib.import_module(f"stats.{HOME[name]}"), name)
    raise AttributeError(f"stats has no {name!r}; it offers {', '.join(sorted(HOME))}")


def __dir__() -> list[str]:
    return sorted(HOME)


class _Flat(ModuleType):
    """Keeps a flat name on its function where a module of this package bears the same name.

    Python binds a loaded module to its package, so that `stats.order_effects` would turn from the function
    into the module as soon as anybody imports it.
    """

    def __setattr__(self, name: str, value: object) -> None:
        same_name = isinstance(value, ModuleType) and HOME.get(name) == name
        super().__setattr__(name, getattr(value, name) if same_name else value)


sys.modules[__name__].__class__ = _Flat
