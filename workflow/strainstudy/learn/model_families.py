"""Model families and the few settings of each that the inner folds choose between.

Every candidate is one scikit-learn pipeline (imputation, scaling, model), so that whatever is learnt from data is
learnt from the training people of a fold.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sklearn.ensemble import ExtraTreesClassifier, HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import Pipeline
from sklearn.preprocessing import KBinsDiscretizer, StandardScaler

__all__ = ["FAMILIES", "Candidate", "candidates"]


BINS = 16
"""Quantile bins of a feature before boosting, whose own bins are never fewer (ours)."""


@dataclass(frozen=True)
class Candidate:
    """One family with one setting."""

    family: str
    setting: Mapping[str, float]

    @property
    def words(self) -> str:
        """Setting as printed, for example ``C=0.3``."""
        return ", ".join(f"{name}={value:g}" for name, value in self.setting.items())

    def pipeline(self, seed: int) -> Pipeline:
        """Make the untrained pipeline."""
        model = FAMILIES[self.family][0](dict(self.setting), seed)
        # Boosting bins its features; binned beforehand, its own weighted binning, which costs more than the boosting
        # of data of this size, has nothing left to do.
        scale = (
            KBinsDiscretizer(n_bins=BINS, encode="ordinal", strategy="quantile", quantile_method="linear")
            if self.family == "gradient_boosting"
            else StandardScaler()
        )
        impute = SimpleImputer(strategy="median", keep_empty_features=True)
        return Pipeline([("impute", impute), ("scale", scale), ("model", model)])


def _logistic(setting: Mapping[str, Any], seed: int) -> LogisticRegression:
    return LogisticRegression(C=setting["C"], max_iter=500, random_state=seed)


def _forest(setting: Mapping[str, Any], seed: int) -> RandomForestClassifier:
    return RandomForestClassifier(
        n_estimators=40,
        max_depth=6,
        min_samples_leaf=int(setting["min_samples_leaf"]),
        max_features="sqrt",
        random_state=seed,
        n_jobs=1,
    )


def _extra_trees(setting: Mapping[str, Any], seed: int) -> ExtraTreesClassifier:
    """Make a forest with cuts drawn at random (Geurts P, Ernst D, Wehenkel L 2006, Mach Learn 63:3-42; from memory)."""
    return ExtraTreesClassifier(
        n_estimators=100,
        min_samples_leaf=int(setting["min_samples_leaf"]),
        max_features="sqrt",
        random_state=seed,
        n_jobs=1,
    )


def _boosting(setting: Mapping[str, Any], seed: int) -> HistGradientBoostingClassifier:
    return HistGradientBoostingClassifier(
        learning_rate=0.2,
        max_iter=int(setting["max_iter"]),
        max_leaf_nodes=4,
        min_samples_leaf=20,
        l2_regularization=1.0,
        max_bins=2 * BINS,
        early_stopping=False,
        random_state=seed,
    )


Builder = Callable[[Mapping[str, Any], int], Any]

FAMILIES: Mapping[str, tuple[Builder, Sequence[Mapping[str, float]]]] = {
    "logistic_regression": (_logistic, ({"C": 0.03}, {"C": 0.3}, {"C": 3.0})),
    "random_forest": (_forest, ({"min_samples_leaf": 5},)),
    "extra_trees": (_extra_trees, ({"min_samples_leaf": 2},)),
    "gradient_boosting": (_boosting, ({"max_iter": 20},)),
}
"""Builder and settings of each family; strong regularisation first."""


def candidates(families: Sequence[str]) -> tuple[Candidate, ...]:
    """List the candidates of some families in order of preference."""
    return tuple(Candidate(family, setting) for family in families for setting in FAMILIES[family][1])
