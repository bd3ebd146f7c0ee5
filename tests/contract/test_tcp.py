"""TCP stands: the same session as over standard streams, and faults of connection and program alike in their word."""

import dataclasses
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError, StandError
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof.stand.server import serve_tcp
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters import in_process, tcp
from leverproof_adapters.wire_session import WireSession

StandOf = Callable[..., StandFile]
Mount = Callable[..., MountedStand]
Gone = Callable[[int | None], bool]
INPUTS, OUTPUTS = ("throttle", "pressure_altitude"), ("manifold_pressure", "engine_speed")


def drive(session: Session) -> list[Array]:
    """Two batches: the vice shows in the second."""
    first = session.initialise([Start("running", (0.3, 7.0))], 1800, INPUTS, OUTPUTS)
    rows = np.full((4, 1, 2), 0.7)
    return [first, session.advance([0], rows), session.advance([0], rows)]


def fault_of(stand: StandFile, gone: Gone) -> StandError:
    session = tcp.open_stand(stand, defect=None)
    assert isinstance(session, WireSession)
    try:
        with pytest.raises(StandError) as caught:
            session.hello()
            drive(session)
        assert gone(session.group)
    finally:
        session.close()
    return caught.value


@pytest.mark.parametrize(
    ("vice", "code", "word"),
    [
        ("dies", "crash", "exit code 3"),
        ("closes_mid_line", "crash", "in the middle of a message"),
        ("closes_at_once", "no_handshake", "ended while answering hello"),
        ("resets", "no_handshake", "ended while answering hello"),
    ],
)
def test_each_fault_has_its_word(stream_stand: StandOf, gone: Gone, vice: str, code: str, word: str) -> None:
    fault = fault_of(stream_stand(vice, "tcp"), gone)
    assert (fault.code, word in fault.message) == (code, True), fault


@pytest.mark.parametrize("vice", ["hangs", "ignores_termination", "slow_drip"])
def test_a_deadline_ends_the_process_group(stream_stand: StandOf, gone: Gone, vice: str) -> None:
    began = time.monotonic()
    fault = fault_of(stream_stand(vice, "tcp", request="0.3 s"), gone)
    assert (fault.code, "within 0.38 s" in fault.message) == ("hang", True), fault
    assert time.monotonic() - began < 8.0


def test_evidence_holds_what_the_program_said(stream_stand: StandOf, gone: Gone) -> None:
    assert "the crankshaft has left the engine" in fault_of(stream_stand("dies", "tcp"), gone).evidence


@pytest.mark.parametrize(
    ("vice", "word"),
    [("ends_before_listening", "before it listened: exit code 5"), ("never_listens", "within 0.5 s")],
)
def test_a_program_that_does_not_listen(stream_stand: StandOf, vice: str, word: str) -> None:
    start = "0.5 s" if vice == "never_listens" else "20 s"
    with pytest.raises(StandError) as caught:
        tcp.open_stand(stream_stand(vice, "tcp", start=start), defect=None)
    assert (caught.value.code, word in caught.value.message) == ("no_handshake", True), caught.value
    assert vice == "never_listens" or "no such port in my world" in caught.value.evidence


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_nobody_there_is_no_program(stand_of: StandOf) -> None:
    with pytest.raises(StandError, match="nobody answers at 127") as caught:
        tcp.open_stand(stand_of(kind="tcp", target=f"127.0.0.1:{free_port()}"), defect=None)
    assert caught.value.code == "no_program"


@pytest.fixture
def running(lag_stand: StandOf) -> Iterator[int]:
    """The port of a Python model that somebody else has started."""
    port = free_port()
    session = in_process.open_stand(lag_stand("in_process"), defect=None)
    host = threading.Thread(target=serve_tcp, args=(session, port), daemon=True)
    host.start()
    for _ in range(200):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                break
        time.sleep(0.01)
    yield port
    host.join(5.0)
    assert not host.is_alive(), "the server ends with its connection"


@pytest.mark.parametrize("frames", ["true", "false"])
def test_a_model_that_runs_already(running: int, stand_of: StandOf, mounted: Mount, frames: str) -> None:
    extra = f"[options]\nfloat64_frames = {frames}\n"
    session = tcp.open_stand(stand_of(kind="tcp", target=f"localhost:{running}", extra=extra), defect=None)
    assert isinstance(session, WireSession)
    assert session.group is None
    session.initialise([Start("running", (0.3,))], 1800, ["throttle"], ["map"])
    assert session.frames == (frames == "true")
    reply = session.advance([0], np.array([[[np.nan]]]))
    assert np.isnan(reply).all()
    session.close()


def test_another_machine_needs_leave(stand_of: StandOf) -> None:
    with pytest.raises(InputError, match="not this machine's own address"):
        tcp.open_stand(stand_of(kind="tcp", target="192.0.2.1:5100"), defect=None)
    with pytest.raises(InputError, match="'yes' is neither true nor false"):
        extra = '[options]\nallow_remote = "yes"\n'
        tcp.open_stand(stand_of(kind="tcp", target="192.0.2.1:5100", extra=extra), defect=None)
    allowed = stand_of(
        kind="tcp", target="192.0.2.1:5100", start="0.2 s", extra="[options]\nallow_remote = true\n"
    )
    with pytest.raises(StandError, match="nobody answers at 192"):
        tcp.open_stand(allowed, defect=None)


def test_a_running_model_has_no_seeded_defects(stand_of: StandOf) -> None:
    with pytest.raises(InputError, match="cannot be told to build in 'x'"):
        tcp.open_stand(stand_of(kind="tcp", target="127.0.0.1:5100"), defect="x")


def test_unknown_options_are_refused(stand_of: StandOf) -> None:
    stand = stand_of(kind="tcp", target="127.0.0.1:5100")
    with pytest.raises(InputError, match="no option 'allow_remot'"):
        tcp.open_stand(dataclasses.replace(stand, options={"allow_remot": True}), defect=None)


@pytest.mark.parametrize(
    ("lines", "word"),
    [
        ("", "form 'host:port', found ''"),
        ('target = "5100"', "form 'host:port'"),
        ('target = "127.0.0.1:fast"', "form 'host:port'"),
        ('target = "127.0.0.1:70000"', "form 'host:port'"),
        ('target = "127.0.0.1:0"', "write {port} in an argument"),
        ('target = "127.0.0.1:0"\ncommand = ["{port}"]', "write {port} in an argument"),
    ],
)
def test_a_target_that_is_none_is_refused(lines: str, word: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_stand_file(f'format = 1\ntitle = "t"\nkind = "tcp"\n{lines}\n', "s.toml", kinds=["tcp"])
    assert word in str(caught.value)


def test_floods_beside_the_protocol_are_drained(stream_stand: StandOf, mounted: Mount) -> None:
    assert drive(mounted(stream_stand("floods_its_output", "tcp")).session)[2].shape == (4, 1, 2)


def test_messages_wait_for_nothing(stream_stand: StandOf) -> None:
    """Without NODELAY, or with a message in two writes, a round trip takes some 40 ms."""
    session = tcp.open_stand(stream_stand("none", "tcp", frames=True), defect=None)
    try:
        session.initialise([Start("running", (0.3, 7.0))], 1800, INPUTS, OUTPUTS)
        rows = np.full((1, 1, 2), 0.7)
        began = time.monotonic()
        for _ in range(50):
            session.advance([0], rows)
        assert time.monotonic() - began < 50 * 0.02
    finally:
        session.close()


def test_a_program_that_is_not_there(stand_of: StandOf, tmp_path: Path) -> None:
    stand = stand_of(kind="tcp", target="127.0.0.1:0", command=["./nothing", "{port}"])
    with pytest.raises(StandError, match=r"no program '\./nothing' beside the stand file") as beside:
        tcp.open_stand(stand, defect=None)
    assert "build it there" in beside.value.hint
    elsewhere = dataclasses.replace(stand, command=("no-such-program-here", "{port}"))
    with pytest.raises(StandError, match="no program 'no-such-program-here' in PATH") as path:
        tcp.open_stand(elsewhere, defect=None)
    assert "install it" in path.value.hint
