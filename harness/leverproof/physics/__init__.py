"""Physics of engine and surroundings: relations, gas path, cylinder, propeller and the predictor."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from leverproof.physics.predictor.expectations import (
        Expectation,
        Prediction,
        power_available,
        predict,
        predict_expectations,
    )

__all__ = ["Expectation", "Prediction", "power_available", "predict", "predict_expectations"]


def __getattr__(name: str) -> Any:
    """The predictor's names, loaded when first asked for: the relations alone must stay cheap to import."""
    if name in __all__:
        from leverproof.physics.predictor import expectations

        return getattr(expectations, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
