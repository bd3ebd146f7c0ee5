"""Judgements ``value`` and ``identity``: one number at one reading."""

from __future__ import annotations

import math

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.judge.decision import within
from leverproof.judge.evidence import (
    RECTANGULAR,
    Evidence,
    WithheldError,
    doubts_of,
    history_of,
    reading_of,
    reference_doubt,
    scaled,
    settled,
    window_samples,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import measured
from leverproof.judge.tolerance import Allowance, Basis, allowance
from leverproof.judge.words import amount, number, spoken, unit_of
from leverproof.quantities import UNITS


def allowed(
    evidence: Evidence,
    *,
    unit: str,
    expected: float,
    channel: str = "",
    span: float = 1.0,
    expected_words: str = "the expected value",
) -> Allowance:
    """The judgement's tolerance in ``unit``; an error when it states none, because there is no default."""
    tolerance = evidence.judgement.tolerance
    if tolerance is None:
        raise WithheldError("error", "the judgement states no tolerance")
    stated = evidence.maybe("tolerance_of")
    whole = CHANNELS[channel].span if channel in CHANNELS else span
    basis = Basis(unit, expected, whole, channel, None if stated is None else stated.value, expected_words)
    try:
        return allowance(tolerance, basis)
    except ValueError as reason:
        raise WithheldError("error", str(reason)) from reason


def refuse_wider(evidence: Evidence, tolerance: Allowance, *, unit: str, expected: float) -> None:
    """Raises ``inconclusive`` for a tolerance, once the sheet has made it a number, that is wider than the value it
    belongs to: the check of case files cannot see it. Nothing is wide beside zero, a temperature or a height, whose
    zero is a convention; a prediction brings the width of its own doubt; what a person loosened is told as such."""
    asked = evidence.judgement.tolerance
    width = tolerance.value / (1.0 if asked is None else asked.times)
    conventional = UNITS[unit].dimension in ("temperature", "length")
    free = conventional or expected == 0.0 or not math.isfinite(expected) or evidence.judgement.basis == "predicted"
    if free or width <= abs(expected):
        return
    raise WithheldError(
        "inconclusive",
        f"a tolerance of {amount(width, unit)} is wider than the value of {amount(expected, unit)}: "
        "not even zero would fail",
    )


def value(evidence: Evidence) -> PointFinding:
    """A channel at a reading, its ratio to another reading, or its quotient by another channel, against an expected
    value."""
    if evidence.judgement.relative_to is not None:
        return _ratio(evidence)
    if evidence.judgement.by:
        return _quotient(evidence)
    judgement = evidence.judgement
    if judgement.reading is None:
        raise WithheldError("error", "the judgement names no reading")
    expected = evidence.expected("expected")
    unit = unit_of(judgement.channel)
    tolerance = allowed(evidence, unit=unit, expected=expected.value, channel=judgement.channel)
    refuse_wider(evidence, tolerance, unit=unit, expected=expected.value)
    found = settled(evidence, judgement.reading, judgement.channel, tolerance=tolerance.value)
    doubts = (*doubts_of(evidence, judgement.reading, judgement.channel), reference_doubt(expected))
    ruling = within(found, expected.value, tolerance.value, doubts, unit=unit)
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=expected.value,
        unit=unit,
        doubts=doubts,
        tolerance=tolerance.text,
    )


def _ratio(evidence: Evidence) -> PointFinding:
    judgement = evidence.judgement
    if judgement.reading is None or judgement.relative_to is None:
        raise WithheldError("error", "the judgement names no reading")
    channel = judgement.channel
    expected = evidence.expected("expected")
    tolerance = allowed(evidence, unit="1", expected=expected.value)
    whole = settled(evidence, judgement.relative_to, channel)
    if whole == 0.0:
        raise WithheldError("invalid run", f"{spoken(channel)} is zero at {judgement.relative_to}: no ratio")
    part = settled(evidence, judgement.reading, channel, tolerance=tolerance.value * abs(whole))
    found = part / whole
    doubts = (
        *scaled(doubts_of(evidence, judgement.reading, channel), 1.0 / whole),
        *scaled(doubts_of(evidence, judgement.relative_to, channel), found / whole),
        reference_doubt(expected),
    )
    ruling = within(found, expected.value, tolerance.value, doubts, unit="1")
    unit = unit_of(channel)
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=expected.value,
        unit="1",
        doubts=doubts,
        tolerance=tolerance.text,
        found_text=f"{number(found)} ({amount(part, unit)} of {amount(whole, unit)})",
    )


def _quotient(evidence: Evidence) -> PointFinding:
    """The channel over another at one reading, in the units of both: fuel flow by brake power is the specific fuel
    consumption, in lb an hp and hour."""
    judgement = evidence.judgement
    if judgement.reading is None:
        raise WithheldError("error", "the judgement names no reading")
    expected = evidence.expected("expected")
    tolerance = allowed(evidence, unit="1", expected=expected.value)
    whole = settled(evidence, judgement.reading, judgement.by)
    if abs(whole) <= CHANNELS[judgement.by].band:
        raise WithheldError("not applicable", f"not exercised: hardly any {spoken(judgement.by)} at this reading")
    part = settled(evidence, judgement.reading, judgement.channel, tolerance=tolerance.value * abs(whole))
    found = part / whole
    doubts = (
        *scaled(doubts_of(evidence, judgement.reading, judgement.channel), 1.0 / whole),
        *scaled(doubts_of(evidence, judgement.reading, judgement.by), found / whole),
        reference_doubt(expected),
    )
    units = (unit_of(judgement.channel), unit_of(judgement.by))
    return measured(
        evidence.point.label,
        within(found, expected.value, tolerance.value, doubts, unit="1"),
        found=found,
        expected=expected.value,
        unit="1",
        doubts=doubts,
        tolerance=tolerance.text,
        found_text=f"{number(found)} ({amount(part, units[0])} by {amount(whole, units[1])})",
    )


def identity(evidence: Evidence) -> PointFinding:
    """brake power = torque x crankshaft speed, sample by sample over the reading's window, as a ratio to 1.

    The units are those of NIST SP 811 (2008): 1 hp = 550 ft.lbf/s. Because the identity holds at every
    instant, the jitter of the ratio is what counts, not that of its three channels.
    """
    judgement = evidence.judgement
    if judgement.reading is None:
        raise WithheldError("error", "the judgement names no reading")
    reading = reading_of(evidence, judgement.reading)
    history = history_of(evidence, judgement.reading.run)
    power, torque, speed = (_samples(evidence, channel) for channel in ("brake_power", "torque", "engine_speed"))
    product = torque * UNITS["lbf.ft"].scale * speed * UNITS["rpm"].scale / UNITS["hp"].scale
    if abs(product).min() <= CHANNELS["brake_power"].band:
        raise WithheldError("not applicable", "not exercised: the engine gives no power at this reading")
    ratio = power / product
    expected = evidence.maybe("expected")
    tolerance = allowed(evidence, unit="1", expected=1.0)
    found = float(ratio.mean())
    doubts = (Doubt("jitter", float(ratio.max() - ratio.min()) / 2.0 / RECTANGULAR, f"half spread at {reading.name}"),)
    target = 1.0 if expected is None else expected.value
    ruling = within(found, target, tolerance.value, doubts, unit="1")
    row = amount(history.grid.seconds(reading.row), "s")
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=target,
        unit="1",
        doubts=doubts,
        tolerance=tolerance.text,
        found_text=f"{number(found)} at {row}",
    )


def _samples(evidence: Evidence, channel: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """The channel over the reading's window, or its mean as one sample where the window is not all there."""
    ref = evidence.judgement.reading
    if ref is None:
        raise WithheldError("error", "the judgement names no reading")
    settled(evidence, ref, channel)
    samples = window_samples(history_of(evidence, ref.run), reading_of(evidence, ref), channel)
    if samples is None:
        samples = np.array([reading_of(evidence, ref).values[channel]])
    if not all(math.isfinite(float(s)) for s in (samples.min(), samples.max())):
        raise WithheldError("invalid run", f"{spoken(channel)} is not a finite number at {ref}")
    return samples
