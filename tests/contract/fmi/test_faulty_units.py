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
from leverproof.stand.shakedown import shakedown
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
    ("version", "vice", "code", "word"),
    [
        (2, "crashes", "crash", "SIGSEGV"),
        (3, "crashes", "crash", "SIGSEGV"),
        (2, "exits", "crash", "exit code 3"),
        (2, "errs", "refused", "fmi2DoStep at 0.2 s with error: the oil is cold"),
        (3, "errs", "refused", "fmi3DoStep at 0.2 s with error: the oil is cold"),
        (3, "dies_fatally", "refused", "fmi3DoStep at 0.2 s with fatal: the oil is cold"),
        (2, "discards", "refused", "with discard (it came to 0.21 s) and wants to end: the oil is cold"),
        (3, "discards", "refused", "fmi3DoStep at 0.2 s with discard and wants to end: the oil is cold"),
        (3, "wants_to_end", "refused", "fmi3DoStep at 0.2 s with ok and wants to end"),
        (2, "no_instance", "refused", "no instance of itself: the token or the model is wrong"),
        (3, "no_instance", "refused", "no instance of itself: the token or the model is wrong"),
        (2, "aborts_at_load", "no_handshake", "SIGABRT"),
    ],
)
def test_each_fault_has_its_word(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch,
    version: int, vice: str, code: str, word: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    fault = fault_of(bare(stand_for(lag_units[version])), gone)
    assert (fault.code, word in f"{fault.message}\n{fault.evidence}") == (code, True), fault


@pytest.mark.parametrize(
    ("version", "vice", "code", "deadline"),
    [
        (2, "hangs", "hang", "request"),
        (3, "hangs", "hang", "request"),
        (3, "hangs_at_start", "hang", "request"),
        (2, "hangs_at_load", "no_handshake", "start"),
        # It had exited, and left a child that keeps its end of the pipe open: no hang.
        (2, "forks", "crash", "request"),
    ],
)
def test_deadlines_end_a_hanging_unit(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch,
    version: int, vice: str, code: str, deadline: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    seconds = "0.4 s" if deadline == "request" else "1.5 s"
    fault = fault_of(bare(stand_for(lag_units[version], **{deadline: seconds})), gone)
    assert fault.code == code
    assert "within" in fault.message
    assert (vice == "forks") == ("the model had ended (exit code 4) and left a process behind" in fault.message)


@pytest.mark.parametrize(("version", "vice"), [(2, "prints"), (3, "prints"), (2, "warns"), (3, "warns")])
def test_harmless_habits_are_no_fault(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare, monkeypatch: pytest.MonkeyPatch, version: int,
    vice: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    pressures = drive(bare(stand_for(lag_units[version])))[:, 0, 0]
    remaining = (1.0 - 0.05 / 2.05) ** np.arange(1, 11)
    np.testing.assert_allclose(pressures, 105.0 - 49.0 * remaining, rtol=1e-12)


@pytest.mark.parametrize(
    ("version", "vice", "signal"),
    [(2, "frees_twice", "SIGABRT"), (3, "frees_twice", "SIGABRT"), (3, "crashes_when_freed", "SIGSEGV")],
)
def test_a_unit_that_dies_when_freed_loses_no_result(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare, gone: Gone, monkeypatch: pytest.MonkeyPatch,
    version: int, vice: str, signal: str,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", vice)
    stand = stand_for(lag_units[version])
    session = bare(stand)
    assert np.isfinite(drive(session)).all()
    session.close()
    assert session.group is not None
    assert gone(session.group)
    again = bare(stand)
    drive(again)
    with pytest.raises(StandError, match=signal) as caught:
        again.reset()
    assert caught.value.code == "crash"


@pytest.mark.parametrize(("vice", "ending"), [("none", "pass"), ("frees_twice", "fail")])
def test_the_kit_sees_how_a_unit_ends(
    lag_units: dict[int, Path], stand_for: StandFor, monkeypatch: pytest.MonkeyPatch, vice: str, ending: str
) -> None:
    monkeypatch.setenv("FMI_VICE", vice)
    found = shakedown(stand_for(lag_units[2]), items=["clean-end"])
    (result,) = [result for result in found.results if result.name == "clean-end"]
    assert result.ending == ending
    assert vice == "none" or "SIGABRT" in result.outcome.seen


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
    lag_units: dict[int, Path], units: ModuleType, changed: Callable[..., Path], stand_for: StandFor, bare: Bare,
    gone: Gone,
) -> None:  # fmt: skip
    unit = changed(lag_units[2], {units.member(units.LAG_ENGINE, 2): b"\x7fELF and no more"})
    fault = fault_of(bare(stand_for(unit)), gone)
    assert (fault.code, "cannot be loaded" in fault.message) == ("no_program", True)


def test_a_wrong_token_is_told(
    lag_units: dict[int, Path], described: Callable[..., Path], stand_for: StandFor, bare: Bare, gone: Gone
) -> None:
    unit = described(lag_units[3], 3, ("{0d6f7b4e", "{1d6f7b4e"))
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
