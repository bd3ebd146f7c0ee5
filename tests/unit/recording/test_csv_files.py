"""Logs as people have them: what is mended is told with numbers, what cannot be is refused with line and reason."""

from __future__ import annotations

import hashlib
import math
import sys
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError
from leverproof.stand.port import Array
from leverproof.stand.recording import Recording
from leverproof_adapters import recording as adapter
from leverproof_adapters import recording_table

from .conftest import HEAD, Opened, line, lines, stand


def column(log: Recording, name: str) -> Array:
    """A channel over the first stretch."""
    return log.stretches[0].data[:, log.columns.index(name)]


def test_names_and_units_are_ours(opened: Opened, tmp_path: Path) -> None:
    found = opened([line(i * 0.1, dT=18) for i in range(100)])
    assert found.inputs == ("throttle", "mixture", "pressure_altitude", "temperature_offset", "true_airspeed")
    assert found.outputs == ("manifold_pressure",)
    assert found.grid.step == 3600
    assert found.warnings == ("nothing says what the relative humidity was: no case is held against it",)
    row = dict(zip(found.columns, found.stretches[0].data[50], strict=True))
    assert row["throttle"] == pytest.approx(0.5)
    assert row["pressure_altitude"] == pytest.approx(3280.84, abs=0.01)
    assert row["temperature_offset"] == pytest.approx(10.0)
    assert row["true_airspeed"] == pytest.approx(107.991, abs=0.001)
    assert row["manifold_pressure"] == pytest.approx(29.53, abs=0.001)
    assert found.digest == hashlib.sha256((tmp_path / "flight.csv").read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("rows", "where", "words"),
    [
        ([*lines(20), line(2.0, map="high"), *lines(20)], ":22", "'high' in the column 'map' is not a number"),
        ([*lines(20), "", line(2.1, thr="x1")], ":23", "'x1' in the column 'thr'"),
        ([*lines(20), line(2.0, map="29;9")], ":22", "'29;9'"),
        ([*lines(20), line(2.0, mix="rich-ish")], ":22", "no state of mixture"),
        ([line(i * 0.1, thr=150) for i in range(99)], "", "throttle goes from 1.5 to 1.5"),
        ([line(0.0)], "", "1 rows are too few"),
        ([], "", "has a header and no rows"),
        (lines(20), "", "no stretch of 5 s"),
        ([line(60.0 * i) for i in range(20)], "", "the samples lie 60 s apart"),
        ([line(0.0) for _ in range(100)], "", "repeat the time of the row before"),
        ([line(1e-1 * (i % 7)) for i in range(100)], "", "the time runs back"),
        ([line(0.1 * i, t="") for i in range(100)], "", "have no time"),
        ([line(0.1 * i, map="") for i in range(100)], "", "the column for manifold_pressure holds no value"),
        ([line(0.1 * i, alt="inf") for i in range(100)], "", "pressure_altitude is not a finite number"),
        ([*lines(20), line(2.0) + ",7", *lines(20)], ":22", "more than the 7 fields"),
        ([*lines(20), line(2.0, map="100,5"), *lines(20)], ":22", "more than the 7 fields"),
        ([*lines(20), line(2.0) + ",7,8"], ":22", "more than the 7 fields"),
        ([*lines(20), line(2.0).replace("200,", ""), *lines(20)], ":22", "less than the 7 fields"),
        ([*lines(20), line(2.0, map='"1,2"') + ",7,8"], ":22", "more than the 7 fields"),
    ],
    ids=lambda value: value[:30] if isinstance(value, str) else "",
)  # fmt: skip
def test_what_cannot_be_mended_is_refused(opened: Opened, rows: list[str], where: str, words: str) -> None:
    with pytest.raises(InputError) as refused:
        opened(rows)
    assert words in str(refused.value)
    assert where in refused.value.where


@pytest.mark.parametrize(
    ("content", "where", "words"),
    [
        (b"", "flight.csv", "empty"),
        ("t,thr\n1,2\n".encode("utf-16"), ":1", "not UTF-8"),
        ((HEAD + "\n" + line(0.0) + "\n").encode() + b"1,\xe9\n", ":3", "byte 0xe9 is not UTF-8"),
        ((HEAD + "\n").encode() + b"1,\0\n", ":2", "a zero byte"),
        (b"\n\n", ":1", "names no columns"),
        (HEAD.replace("tas", "map").encode() + b"\n1\n", "flight.csv", "two columns are called 'map'"),
    ],
)
def test_files_that_are_no_log(opened: Opened, content: bytes, where: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        opened(content)
    assert where in refused.value.where


def test_a_bad_byte_across_two_reads_is_found_in_its_line(opened: Opened) -> None:
    body = (HEAD + "\n").encode() + b"0" * ((1 << 20) - len(HEAD) - 2) + b"\xc3(\n"
    with pytest.raises(InputError, match="not UTF-8") as refused:
        opened(body)
    assert refused.value.where.endswith(":2")


def test_separators_at_the_end_and_a_line_without_an_end(opened: Opened) -> None:
    rows = [line(0.1 * i) + "," for i in range(100)]
    assert opened(rows).stretches[0].data.shape == (100, 6)
    cut = opened("\n".join([HEAD, *lines(100)])[:-1].encode())
    assert cut.stretches[0].data.shape == (99, 6)
    assert "the last line has no end and was left out" in cut.warnings


def test_ways_of_writing_one_log(opened: Opened) -> None:
    rows = [HEAD, *lines(100), ""]
    quoted = [",".join(f'"{cell}"' for cell in row.split(",")) for row in rows[:-1]]
    for text in (
        "\r\n".join(rows),
        "\r".join(rows),
        "\ufeff" + "\n".join(rows),
        "\n".join([*rows[:50], "", "", *rows[50:]]),
        "\n".join(row.replace(",", ", ") for row in rows),
        "\n".join([*quoted, ""]),
    ):
        assert opened(text.encode()).stretches[0].data.shape == (100, 6)


def test_missing_and_huge_files(opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no such file"):
        adapter.open_stand(stand(tmp_path, target="none.csv"), defect=None)
    (tmp_path / "flight.csv").mkdir()
    with pytest.raises(InputError, match="this is no file"):
        adapter.open_stand(stand(tmp_path), defect=None)
    (tmp_path / "flight.csv").rmdir()
    monkeypatch.setattr(adapter, "LARGEST_FILE", 100)
    with pytest.raises(InputError, match="more than the 100 allowed"):
        opened(lines())


def test_too_many_rows(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("leverproof_adapters.recording_csv.MOST_ROWS", 50)
    with pytest.raises(InputError, match="more than 50 rows"):
        opened(lines(60))


def test_columns_are_never_dropped_in_silence(opened: Opened) -> None:
    head = HEAD + ",rpmm"
    rows = [line(0.1 * i) + ",7" for i in range(100)]
    with pytest.raises(InputError, match="nothing says what the column 'rpmm' is") as unsaid:
        opened(rows, head=head)
    assert unsaid.value.hint.startswith("map it under [channels.OURS], or list it under ignore")
    with pytest.raises(InputError, match="no column 'rpm'") as refused:
        opened(rows, head=head, recording='ignore = ["rpm"]')
    assert "did you mean 'rpmm'?" in refused.value.hint
    found = opened(rows, head=head, recording='ignore = ["rpmm"]')
    assert "columns not used, as the stand file says: rpmm" in found.warnings
    assert opened(rows, head=head, recording='ignore = ["*"]').outputs == ("manifold_pressure",)


def test_a_name_that_the_file_does_not_have(opened: Opened) -> None:
    with pytest.raises(InputError, match="no column 'map'") as refused:
        opened(lines(), head=HEAD.replace("map", "mapp"))
    assert "mapp" in refused.value.hint
    assert "channels.manifold_pressure.name" in refused.value.where


def test_a_number_without_unit_is_refused(opened: Opened) -> None:
    with pytest.raises(InputError, match="which unit the column for engine_speed is in"):
        opened([line(0.1 * i) + ",2000" for i in range(99)], head=HEAD + ",engine_speed")
    with pytest.raises(InputError, match="which unit the column for engine_speed is in"):
        opened(
            [line(0.1 * i) + ",2000" for i in range(99)], head=HEAD + ",n", more='[channels.engine_speed]\nname = "n"'
        )


def test_one_column_for_two_channels_is_refused(opened: Opened) -> None:
    with pytest.raises(InputError, match="stands for manifold_pressure and for ambient_pressure"):
        opened(lines(), more='[channels.ambient_pressure]\nname = "map"\nunit = "kPa"')


def test_surroundings_that_nobody_states(opened: Opened) -> None:
    head = HEAD.replace("tas", "other")
    with pytest.raises(InputError, match="no column 'tas'"):
        opened(lines(), head=head)


def test_rows_without_time_and_repeated_rows_are_left_out_and_told(opened: Opened) -> None:
    rows = lines(200)
    rows[50] = line(0.0, t="")
    rows.insert(99, line(9.9, map=50))
    found = opened(rows)
    assert any("1 rows without a time were left out" in w for w in found.warnings)
    assert any("1 rows repeat the time" in w for w in found.warnings)
    assert np.ptp(column(found, "manifold_pressure")) < 1e-9


def test_the_clock_is_cut_where_it_jumps(opened: Opened) -> None:
    early = [line(1000.0 + 0.1 * i) for i in range(100)]
    gap = [line(2000.0 + 0.1 * i) for i in range(100)]
    back = [line(5.0 + 0.1 * i) for i in range(100)]
    found = opened(early + gap + back)
    assert [round(s.begins) for s in found.stretches] == [1000, 2000, 5]
    assert any("runs back 1 times, first at 5 s" in w for w in found.warnings)
    assert any("1 gaps of more than 2 s" in w for w in found.warnings)


def test_blanks_are_bridged_up_to_the_stated_limit_only(opened: Opened) -> None:
    rows = [line(0.1 * i, map=100 + 0.1 * i if i % 10 == 0 else "") for i in range(300)]
    found = opened(rows)
    assert len(found.stretches) == 1
    expected = (100 + np.arange(0, 29.0, 0.1)) / 3.386389
    assert column(found, "manifold_pressure")[:290] == pytest.approx(expected, abs=1e-6)
    hole = [line(0.1 * i, map="" if 100 < i < 130 else 100) for i in range(300)]
    cut = opened(hole)
    assert [s.data.shape[0] for s in cut.stretches] == [101, 170]
    assert any("manifold_pressure has no value for more than 2 s in 1 places" in w for w in cut.warnings)
    assert len(opened(hole, recording='longest_gap = "4 s"').stretches) == 1


def test_what_the_model_gave_is_not_smoothed_over(opened: Opened) -> None:
    rows = lines(200)
    for index, word in ((80, "NaN"), (120, "inf"), (150, "1e999")):
        rows[index] = line(0.1 * index, map=word)
    values = column(opened(rows), "manifold_pressure")
    assert [i for i in range(200) if not math.isfinite(values[i])] == [80, 120, 150]


def test_irregular_sampling_goes_onto_the_usual_grid(opened: Opened) -> None:
    random = np.random.default_rng(5)
    times = np.cumsum(random.uniform(0.05, 0.4, 400))
    rows = [line(float(f"{t:.4f}"), map=f"{100 + t:.6f}", mix=int(t > 30.0)) for t in times]
    found = opened(rows)
    assert found.grid.step == 1800
    assert 0.3 < found.jitter < 0.36
    at = found.stretches[0].begins + 0.05 * np.arange(found.stretches[0].data.shape[0])
    assert column(found, "manifold_pressure") == pytest.approx((100 + at) / 3.386389, abs=1e-4)
    assert set(column(found, "mixture").tolist()) == {0.0, 1.0}


def test_a_delay_is_taken_out(opened: Opened) -> None:
    rows = [line(0.1 * i, map=100 + max(0.0, 0.1 * i - 11.0)) for i in range(300)]
    found = opened(rows, more='delay = "1 s"')
    values = column(found, "manifold_pressure") * 3.386389 - 100
    at = found.stretches[0].begins + 0.1 * np.arange(values.size)
    assert values == pytest.approx(np.maximum(0.0, at - 10.0), abs=1e-6)
    assert at[-1] == pytest.approx(28.9)


def test_clock_of_day_and_decimal_commas(opened: Opened) -> None:
    rows = [f"14:{i // 600:02d}:{i // 10 % 60:02d}.{i % 10};50,0;2;1000;0;200;100,5" for i in range(1200)]
    content = "\n".join([HEAD.replace(",", ";"), *rows, ""]).encode()
    found = opened(
        content,
        recording='separator = "semicolon"\ndecimal = "comma"',
        change={'time_unit = "s"': 'time_unit = "time_of_day"'},
    )
    assert found.seconds() == pytest.approx(119.9)
    assert found.stretches[0].begins == 14 * 3600
    assert column(found, "throttle")[0] == pytest.approx(0.5)
    with pytest.raises(InputError, match="no time of the form time_of_day") as refused:
        opened(lines(), change={'time_unit = "s"': 'time_unit = "time_of_day"'})
    assert refused.value.where.endswith(":2")


def test_milliseconds(opened: Opened) -> None:
    rows = [line(1e6 + 100 * i) for i in range(100)]
    assert opened(rows, change={'time_unit = "s"': 'time_unit = "ms"'}).stretches[0].begins == pytest.approx(1000.0)


def test_words_of_a_discrete_column(opened: Opened) -> None:
    words = ["Auto Rich", "AUTO_LEAN", "2", "2.0", ""]
    rows = [line(0.1 * i, mix=words[i // 40] if i < 160 or i % 10 else 1) for i in range(200)]
    found = opened(rows)
    assert column(found, "mixture")[::40].tolist() == [2.0, 1.0, 2.0, 2.0, 1.0]
    own = {'name = "mix"': 'name = "mix"\nstates = { R = "auto_rich", L = "auto_lean" }'}
    assert set(column(opened([line(0.1 * i, mix="RL"[i // 50]) for i in range(100)], change=own), "mixture")) == {1, 2}
    with pytest.raises(InputError, match="'2' in the column 'mix' is no state of mixture"):
        opened(lines(), change=own)


def test_the_thermometer_gives_the_day(opened: Opened) -> None:
    rows = [line(0.1 * i, dT=20) for i in range(100)]
    found = opened(rows, change={"[channels.temperature_offset]": "[channels.ambient_temperature]", "degF": "degC"})
    assert found.outputs == ("manifold_pressure",)
    assert column(found, "temperature_offset")[0] == pytest.approx(20.0 - 15.0 + 6.5, abs=0.01)
    assert any("recorded thermometer" in w for w in found.warnings)


def test_parquet_without_its_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    (tmp_path / "flight.parquet").write_bytes(b"PAR1")
    with pytest.raises(InputError, match="needs the package pyarrow"):
        adapter.open_stand(stand(tmp_path, target="flight.parquet"), defect=None)


def test_numbers_name_the_line() -> None:
    assert recording_table.numbers(["1", " 2 ", "", "nan"], 2, "x", "f")[:2].tolist() == [1.0, 2.0]
    with pytest.raises(InputError, match="comma as decimal mark"):
        recording_table.numbers(["1", "2,5"], 2, "x", "f")


def test_a_header_without_end_is_refused(opened: Opened) -> None:
    with pytest.raises(InputError, match="the first line names no columns") as caught:
        opened([f"{row},1" for row in lines(60)], head=f"{HEAD},{'x' * 200_000}")
    assert caught.value.where.endswith("flight.csv:1")
