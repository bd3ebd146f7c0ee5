"""Units that crash, hang, chatter, break off or cannot be loaded: each ends in its word and leaves nothing."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from leverproof.errors import StandError
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof_adapters.fmi.opening import PREFIX, FmuSession

StandFor = Callable[..., StandFile]
Bare = Callable[[StandFile], FmuSession]
Gone = Callable[[int], bool]
INPUTS, OUTPUTS = ("throttle", "mix"), ("map", "engine_speed")


def drive(session: Session) -> Array:
    """Half a second: the vice shows at 0.2 s at the latest."""
    session.hello()
    session.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS)
    return session.advance([0], np.full((10, 1, 2), 1.0))


def fault_of(session: FmuSession, gone: Gone) -> StandError:
    """The trouble a unit ends in: worker and folder are gone before the session is even closed."""
    assert session.folder.is_dir()
    with pytest.raises(StandError) as caught:
        drive(session)
    assert session.group is not None
    assert gone(session.group)
    assert not session.folder.exists()
    with pytest.raises(StandError, match="ended earlier"):
        session.reset()
    return caught.value


@pytest.mark.parametrize(
    ("vice", "code", "word"),
    [
        ("crashes", "crash", "SIGSEGV"),
        ("exits", "crash", "exit code 3"),
        ("errs", "refused", "DoStep at 0.2 s with error: the oil is cold"),
        ("dies_fatally", "refused", "DoStep at 0.2 s with fatal: the oil is cold"),
        ("discards", "refused", "DoStep at 0.2 s with discard"),
        ("no_instance", "refused", "no instance of itself: the token or the model is wrong"),
        ("aborts_at_load", "no_handshake", "SIGABRT"),
    ],
)
def test_each_fault_has_its_word(
    lag_unit: Path, stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch,
    vice: str, code: str, word: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    fault = fault_of(bare(stand_for(lag_unit)), gone)
    assert (fault.code, word in f"{fault.message}\n{fault.evidence}") == (code, True), fault


def test_a_discarded_step_tells_how_far_it_came(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FMI_VICE", "discards")
    fault = fault_of(bare(stand_for(lag_units[2])), gone)
    assert "(it came to 0.21 s) and wants to end: the oil is cold" in fault.message


def test_a_unit_that_wants_to_end_is_no_success(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FMI_VICE", "wants_to_end")
    fault = fault_of(bare(stand_for(lag_units[3])), gone)
    assert "fmi3DoStep at 0.2 s with ok and wants to end" in fault.message


@pytest.mark.parametrize(
    ("vice", "code", "deadline"),
    [
        ("hangs", "hang", "request"),
        ("hangs_at_start", "hang", "request"),
        ("hangs_at_load", "no_handshake", "start"),
    ],
)
def test_deadlines_end_a_hanging_unit(
    lag_unit: Path, stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch,
    vice: str, code: str, deadline: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    seconds = "0.4 s" if deadline == "request" else "1.5 s"
    fault = fault_of(bare(stand_for(lag_unit, **{deadline: seconds})), gone)
    assert fault.code == code
    assert "within" in fault.message


@pytest.mark.parametrize("vice", ["prints", "warns"])
def test_harmless_habits_are_no_fault(
    lag_unit: Path, stand_for: StandFor, bare: Bare, monkeypatch: pytest.MonkeyPatch, vice: str
) -> None:
    plain = drive(bare(stand_for(lag_unit)))
    monkeypatch.setenv("FMI_VICE", vice)
    assert (drive(bare(stand_for(lag_unit))) == plain).all()


@pytest.mark.parametrize(("vice", "signal"), [("frees_twice", "SIGABRT"), ("crashes_when_freed", "SIGSEGV")])
def test_a_unit_that_dies_when_freed_loses_no_result(
    lag_unit: Path, stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch,
    vice: str, signal: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    session = bare(stand_for(lag_unit))
    assert np.isfinite(drive(session)).all()
    session.close()
    assert session.group is not None
    assert gone(session.group)
    again = bare(stand_for(lag_unit))
    drive(again)
    with pytest.raises(StandError, match=signal) as caught:
        again.reset()
    assert caught.value.code == "crash"


def test_a_missing_function_is_named(
    lag_unit: Path, version: int, units: ModuleType, changed: Callable[..., Path], stand_for: StandFor, bare: Bare,
    gone: Gone,
) -> None:  # fmt: skip
    member = units.member(units.LAG_ENGINE, version)
    code = units.compiled(units.LAG_ENGINE, version, changed(lag_unit, {}).parent).read_bytes()
    name = f"fmi{version}DoStep".encode()
    assert name + b"\0" in code
    unit = changed(lag_unit, {member: code.replace(name + b"\0", name[:-1] + b"q\0")}, "without.fmu")
    fault = fault_of(bare(stand_for(unit)), gone)
    assert (fault.code, f"has no function fmi{version}DoStep" in fault.message) == ("no_program", True)


def test_code_that_is_no_library_is_told(
    lag_unit: Path, version: int, units: ModuleType, changed: Callable[..., Path], stand_for: StandFor, bare: Bare,
    gone: Gone,
) -> None:  # fmt: skip
    unit = changed(lag_unit, {units.member(units.LAG_ENGINE, version): b"\x7fELF and no more"})
    fault = fault_of(bare(stand_for(unit)), gone)
    assert (fault.code, "cannot be loaded" in fault.message) == ("no_program", True)


def test_a_wrong_token_is_told(
    lag_unit: Path, version: int, described: Callable[..., Path], stand_for: StandFor, bare: Bare, gone: Gone
) -> None:
    unit = described(lag_unit, version, ("{0d6f7b4e", "{1d6f7b4e"))
    assert "gives no instance of itself: the token" in fault_of(bare(stand_for(unit)), gone).message


_OWNER = """
import os, sys
import numpy as np
from leverproof.stand.port import Start
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters import fmi
session = fmi.open_stand(read_stand_file(sys.argv[1], kinds=["fmi"]), defect=None)
session.initialise([Start("running", (0.3,))], 1800, ("throttle",), ("map",))
print(session.group, session.folder, flush=True)
if sys.argv[2] == "hangs":
    session.advance([0], np.full((10, 1, 1), 1.0))
os.kill(os.getpid(), 9)
"""


@pytest.mark.parametrize("vice", ["none", "hangs"])
def test_a_killed_harness_leaves_neither_worker_nor_folder(
    lag_units: dict[int, Path], tmp_path: Path, gone: Gone, vice: str
) -> None:
    stand = tmp_path / "stand.toml"
    target = os.path.relpath(lag_units[2], tmp_path)
    stand.write_text(f'format = 1\ntitle = "a unit"\nkind = "fmi"\ntarget = "{target}"\n', "utf-8")
    owner = subprocess.Popen(
        [sys.executable, "-c", _OWNER, str(stand), vice],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "FMI_VICE": vice, "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    assert owner.stdout is not None
    group, _, folder = owner.stdout.readline().strip().partition(" ")
    assert Path(folder).name.startswith(PREFIX)
    if vice == "hangs":
        time.sleep(0.5)
        owner.kill()
    owner.wait()
    owner.stdout.close()
    until = time.monotonic() + 4.0
    while Path(folder).exists() and time.monotonic() < until:
        time.sleep(0.02)
    assert not Path(folder).exists()
    assert gone(int(group))
