"""What a user may set about telling throat movements apart, each default with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..learn.parameters import LearnParameters
from ..settings import setting

__all__ = ["MovementParameters"]


@dataclass(frozen=True)
class MovementParameters(LearnParameters):
    """Settings of training on candidates, and of what is called a swallow."""

    swallow_families: tuple[str, ...] = setting(
        ("extra_trees",),
        "Model families to choose from for candidates of swallows, simplest first",
        source="ours: speech, coughs and turning heads lie on different sides of swallows, which no plane separates; "
        "of these families this one called the fewest of them swallows on simulated throats",
        choices=("logistic_regression", "random_forest", "extra_trees", "gradient_boosting"),
    )
    swallow_probability_min: float = setting(
        0.7,
        "Probability from which a candidate is called a swallow; higher: fewer false, more missed",
        source="ours: on five simulated cohorts of twelve people 0.23 false swallows a minute of speech, coughs and "
        "head movements at F1 0.965; 0.5 gives 0.61 at F1 0.969 (docs/throat-shapes.md)",
        minimum=0.05,
        maximum=0.99,
    )
