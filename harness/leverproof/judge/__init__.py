"""Judging: pure functions over histories. Observation first, judgement second."""

from leverproof.judge.case import evaluate, judge_case

__all__ = ["evaluate", "judge_case"]
