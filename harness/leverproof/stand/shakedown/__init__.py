"""The conformance kit for authors of models and adapters.

From an author's own tests: ``assert shakedown("my.stand.toml").passed``.
"""

from leverproof.stand.shakedown.kit import shakedown
from leverproof.stand.shakedown.model import Outcome, Shakedown

__all__ = ["Outcome", "Shakedown", "shakedown"]
