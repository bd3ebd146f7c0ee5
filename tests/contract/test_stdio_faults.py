"""Models that die, hang, chatter or lie as child processes: each ends in its word and leaves nothing."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import StandError
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof_adapters import stdio
from leverproof_adapters.wire_session import WireSession

StandOf = Callable[..., StandFile]
Mount = Callable[..., MountedStand]
Gone = Callable[[int | None], bool]

INPUTS, OUTPUTS = ("throttle", "mixture"), ("manifold_pressure", "engine_speed")


def drive(session: Session) -> list[Array]:
    """Two batches: the vice shows in the second at the latest."""
    first = session.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS)
    rows = np.full((4, 1, 2), 0.6)
    return [first, session.advance([0], rows), session.advance([0], rows)]


def opened(stand: StandFile) -> WireSession:
    """The bare session of a stand."""
    session = stdio.open_stand(stand, defect=None)
    assert isinstance(session, WireSession)
    return session


def fault_of(stand: StandFile, gone: Gone) -> StandError:
    """The trouble a stand ends in; no process of it may be left before the session is even closed."""
    session = opened(stand)
    try:
        with pytest.raises(StandError) as caught:
            session.hello()
            drive(session)
        assert gone(session.group)
        with pytest.raises(StandError, match="ended earlier") as again:
            session.reset()
        assert again.value.code == caught.value.code
    finally:
        session.close()
        session.close()
    return caught.value


@pytest.mark.parametrize(
    ("vice", "code", "word"),
    [
        ("dies_at_start", "no_handshake", "exit code 7"),
        ("dies", "crash", "exit code 3"),
        ("raises_a_signal", "crash", "SIGSEGV"),
        ("closes_its_output", "crash", "SIGTERM"),
        ("leaves_a_child", "crash", "exit code 4"),
        ("half_a_line", "crash", "middle of a message"),
        ("chatters", "protocol", "rpm looks fine"),
        ("endless_banner", "protocol", "before the reply to hello"),
        ("banner_without_end", "protocol", "before the reply to hello"),
        ("wrong_id", "protocol", "the id"),
        ("neither", "protocol", "neither a result"),
        ("fewer_rows", "protocol", "has 3 rows, expected 4"),
        ("wrong_columns", "protocol", "has 3 columns, expected 2"),
        ("word", "protocol", '"fast", not a number'),
        ("boolean", "protocol", "true, not a number"),
        ("bare_nan", "protocol", "not JSON"),
        ("not_utf8", "protocol", "not UTF-8"),
        ("long_line", "protocol", "4,194,304 bytes"),
        ("wrong_version", "version", "protocol 2"),
        ("refuses_the_version", "version", "only protocol 9"),
        ("nameless", "protocol", "'version' is missing"),
        ("refuses", "refused", "the oil is cold"),
    ],
)
def test_each_fault_has_its_word(faulty: StandOf, gone: Gone, vice: str, code: str, word: str) -> None:
    fault = fault_of(faulty(vice), gone)
    assert (fault.code, word in fault.message) == (code, True), fault
    assert fault.evidence.startswith(("exit code", "ended by signal"))


@pytest.mark.parametrize(
    ("vice", "code", "changes"),
    [
        ("hangs_at_start", "no_handshake", {"start": "0.3 s"}),
        ("hangs", "hang", {"request": "0.3 s"}),
        ("ignores_termination", "hang", {"request": "0.3 s"}),
    ],
)
def test_deadlines_end_the_whole_process_group(
    faulty: StandOf, gone: Gone, vice: str, code: str, changes: dict[str, str]
) -> None:
    fault = fault_of(faulty(vice, **changes), gone)
    assert fault.code == code
    assert "0." in fault.message
    assert "within" in fault.message
    expected = "SIGKILL" if vice == "ignores_termination" else "SIGTERM"
    assert expected in fault.evidence


def test_evidence_holds_the_last_words(faulty: StandOf, gone: Gone) -> None:
    assert "the crankshaft has left the engine" in fault_of(faulty("dies"), gone).evidence


def test_a_missing_program_is_told_with_the_way_to_build_it(stand_of: StandOf) -> None:
    stand = stand_of(command=["./corrie"], extra='build_hint = "cc -o corrie corrie.c"\n')
    with pytest.raises(StandError) as caught:
        stdio.open_stand(stand, defect=None)
    assert caught.value.code == "no_program"
    assert "cc -o corrie corrie.c" in caught.value.hint


def test_a_program_named_by_its_whole_path_is_not_said_to_be_beside_the_stand_file(stand_of: StandOf) -> None:
    with pytest.raises(StandError) as caught:
        stdio.open_stand(stand_of(command=["/nowhere/engine"]), defect=None)
    assert caught.value.message == "no program '/nowhere/engine' there"


def test_a_file_that_is_no_program_is_told(stand_of: StandOf, tmp_path: Path) -> None:
    (tmp_path / "corrie").write_text("not a program", encoding="utf-8")
    with pytest.raises(StandError) as caught:
        stdio.open_stand(stand_of(command=["./corrie"]), defect=None)
    assert caught.value.code == "no_program"
    assert "make it executable" in caught.value.hint


def test_nan_is_data_and_passes_through(faulty: StandOf, mounted: Mount) -> None:
    first, before, after = drive(mounted(faulty("nan")).session)
    assert np.isfinite(first).all()
    assert np.isfinite(before).all()
    assert np.isnan(after[-1, 0, 0])
    assert after[-1, 0, 1] == -np.inf


@pytest.mark.parametrize("vice", ["floods_stderr", "carriage_returns", "none"])
def test_harmless_habits_are_no_fault(faulty: StandOf, mounted: Mount, vice: str) -> None:
    assert drive(mounted(faulty(vice)).session)[2].shape == (4, 1, 2)


def test_a_banner_is_a_recorded_warning(faulty: StandOf, mounted: Mount) -> None:
    stand = mounted(faulty("banner"))
    assert stand.facts()["warnings"] == ["Corrie engine, revision 3", "", "all rights invented"]
    assert drive(stand.session)[2].shape == (4, 1, 2)


@pytest.mark.parametrize("vice", ["none", "lingers"])
def test_close_leaves_no_process(faulty: StandOf, gone: Gone, vice: str) -> None:
    session = opened(faulty(vice, request="0.3 s" if vice == "lingers" else "10 s"))
    session.hello()
    session.close()
    assert gone(session.group)


def test_a_session_closed_before_hello_leaves_no_process(faulty: StandOf, gone: Gone) -> None:
    session = opened(faulty("ignores_termination"))
    session.close()
    assert gone(session.group)


def test_after_a_fault_a_fresh_session_works(faulty: StandOf, mounted: Mount) -> None:
    stand = mounted(faulty("dies"))
    with pytest.raises(StandError):
        drive(stand.session)
    again = stand.reopen()
    assert again is stand.session
    assert again.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS).shape == (1, 2)
