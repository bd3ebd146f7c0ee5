"""A recording put together: columns of a file, in canonical units, become a :class:`Recording`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from leverproof.atmosphere import temperature_at_feet
from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.stand.lamp import LIGHT, LONGEST_STEP, ON, Lamp
from leverproof.stand.port import Array, StandFile
from leverproof.stand.recording import Recording, Stretch
from leverproof.stand.recording_clean import clean
from leverproof.stand.recording_columns import Columns, surroundings_unknown
from leverproof.stand.recording_gauges import READ_BACKS, lateness, smallest_step
from leverproof.stand.recording_grid import LONGEST_GAP, gridded
from leverproof.stand.recording_map import gap_seconds
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

_FREEZING = 273.15


def build(
    stand: StandFile, columns: Columns, times: Array, raw: Mapping[str, Array], *, digest: str, where: str
) -> Recording:
    """The recording of ``raw`` columns as they stand in the file, by our channel names: NaN where nothing was
    recorded, infinite where the model gave no number; ``times`` in s.

    Raises :class:`InputError` for what cannot be mended honestly (:mod:`recording_clean`, :mod:`recording_grid`)."""
    values = {c.channel: _held(raw[c.channel], c.scale, c.offset) for c in columns.channels}
    samples = clean(times, values, where)
    order = tuple(name for name in CHANNELS if name in values)
    laid = gridded(
        samples,
        order,
        fallback=TimeGrid.parse(stand.grid_step, f"{stand.path}: grid_step"),
        longest_gap=_longest_gap(stand),
        delays={c.channel: c.delay for c in columns.channels},
        where=where,
    )
    warnings = [*samples.warnings, *laid.warnings]
    if columns.ignored:
        warnings.append(f"columns not used, as the stand file says: {', '.join(columns.ignored)}")
    resolution = _resolutions(columns, raw, warnings)
    recording = Recording(
        title=stand.title,
        grid=laid.grid,
        inputs=tuple(n for n in order if CHANNELS[n].kind != "reading"),
        outputs=tuple(n for n in order if CHANNELS[n].kind == "reading"),
        stretches=laid.stretches,
        resolution=resolution,
        jitter=laid.jitter,
        digest=digest,
    )
    recording = _with_lamp(recording, stand)
    recording = _with_offset(_with_constants(recording, columns.constants), warnings)
    for name in surroundings_unknown(set(recording.inputs)):
        warnings.append(f"nothing says what the {name.replace('_', ' ')} was: no case is held against it")
    warnings += _late_read_backs(recording)
    return replace(recording, warnings=tuple(warnings))


def _held(column: Array, scale: float, offset: float) -> Array:
    """A column in our unit; a number too large for a history is none that an engine gives."""
    with np.errstate(over="ignore"):
        ours = column * scale + offset
    return np.where(np.abs(ours) > np.finfo(np.float32).max, np.copysign(np.inf, ours), ours)


def _longest_gap(stand: StandFile) -> float:
    text = stand.recording.get("longest_gap")
    return LONGEST_GAP if text is None else gap_seconds(text, f"{stand.path}: recording.longest_gap")


def _resolutions(columns: Columns, raw: Mapping[str, Array], warnings: list[str]) -> dict[str, float]:
    """The smallest step of every gauge: as stated, else as seen."""
    found = {}
    for column in columns.channels:
        ours = CHANNELS[column.channel]
        if ours.states or ours.kind == "lever":
            continue
        seen = smallest_step(raw[column.channel]) * abs(column.scale)
        if column.resolution is not None and seen > 1.5 * column.resolution:
            warnings.append(
                f"{ours.name} moves in steps of {seen:.4g} {ours.unit}, not of {column.resolution:.4g}: "
                "the larger is used"
            )
        step = max(seen, column.resolution) if column.resolution is not None else seen
        if step > 0.0:
            found[ours.name] = step
    return found


def _with_lamp(recording: Recording, stand: StandFile) -> Recording:
    """The light as the pilot sees it, where the file tells only whether it was lit; every stretch begins anew."""
    entry = stand.channels.get(LIGHT)
    if entry is None or not entry.lit_now or LIGHT not in recording.outputs:
        return recording
    if recording.grid.step > LONGEST_STEP:
        raise InputError(
            f"a lamp recorded every {recording.grid.step / TICKS_PER_SECOND:g} s may have blinked unseen",
            f"{stand.path}: channels.{LIGHT}.lit_now",
            "record it every 0.1 s or more often, or leave the channel out",
            "grid",
        )
    column = recording.columns.index(LIGHT)
    stretches = []
    for stretch in recording.stretches:
        data = stretch.data.copy()
        data[:, column] = Lamp(recording.grid.step).see((data[:, column] / ON).tolist())
        stretches.append(Stretch(stretch.begins, data))
    return replace(recording, stretches=tuple(stretches))


def _with_constants(recording: Recording, constants: Mapping[str, float]) -> Recording:
    if not constants:
        return recording
    names = tuple(constants)
    block = np.array([constants[name] for name in names], dtype=np.float64)
    at = len(recording.inputs)
    stretches = tuple(
        Stretch(
            s.begins,
            np.concatenate([s.data[:, :at], np.tile(block, (s.data.shape[0], 1)), s.data[:, at:]], axis=1),
        )
        for s in recording.stretches
    )
    return replace(recording, inputs=recording.inputs + names, stretches=stretches)


def _with_offset(recording: Recording, warnings: list[str]) -> Recording:
    """The temperature offset by the recorded thermometer, which then is no reading to be judged any more."""
    thermometer = "ambient_temperature"
    if "temperature_offset" in recording.inputs or thermometer not in recording.outputs:
        return recording
    columns = recording.columns
    height, air = columns.index("pressure_altitude"), columns.index(thermometer)
    at = len(recording.inputs)
    stretches = []
    for stretch in recording.stretches:
        data = stretch.data
        offset = data[:, air] + _FREEZING - np.asarray(temperature_at_feet(data[:, height]))
        rest = np.delete(data[:, at:], air - at, axis=1)
        stretches.append(Stretch(stretch.begins, np.concatenate([data[:, :at], offset[:, None], rest], axis=1)))
    warnings.append("the temperature offset follows from the recorded thermometer, which is not judged therefore")
    return replace(
        recording,
        inputs=(*recording.inputs, "temperature_offset"),
        outputs=tuple(n for n in recording.outputs if n != thermometer),
        stretches=tuple(stretches),
    )


def _late_read_backs(recording: Recording) -> list[str]:
    """Delays that nobody stated, seen by comparing levers with their own read-back; they are told, not taken out."""
    said = []
    step = recording.grid.step / TICKS_PER_SECOND
    for lever, back in READ_BACKS:
        if lever not in recording.inputs or back not in recording.outputs:
            continue
        a, b = recording.columns.index(lever), recording.columns.index(back)
        longest = max(recording.stretches, key=lambda s: float(np.ptp(s.data[:, a])))
        late = lateness(longest.data[:, a], longest.data[:, b], step)
        if late is not None and late > 1.5 * step:
            said.append(
                f"{back} follows the {lever} lever {late:.3g} s late: if that is the gauges' delay, state it "
                "as delay of each channel; it was not taken out"
            )
    return said
