"""Float64 frames: documented lines, every bit both ways, and what is no frame refused at both ends."""

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from leverproof.errors import InputError, StandError
from leverproof.schema import check
from leverproof.stand.frames import frame, frame_bytes, unframe
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof.stand.server import serve
from leverproof.stand.wire import WireError, encode
from leverproof_adapters import in_process, stdio, tcp
from leverproof_adapters.byte_channel import ByteChannel
from leverproof_adapters.wire_session import WireSession

StandOf = Callable[..., StandFile]
Gone = Callable[[int | None], bool]
INPUTS, OUTPUTS = ("throttle", "pressure_altitude"), ("manifold_pressure", "engine_speed")
OPEN = {"stdio": stdio.open_stand, "tcp": tcp.open_stand}
START = {
    "id": 2,
    "method": "initialise",
    "params": {"step_ticks": 1800, "inputs": ["throttle"], "outputs": ["map", "mood"],
               "starts": [{"engine": "running"}]},
}  # fmt: skip
ADVANCE = {"id": 3, "method": "advance", "params": {"lanes": [0]}}
BATCH = np.array([[[0.25]], [[np.nan]], [[0.5]]])


def talk(session: Session, *messages: bytes) -> list[tuple[dict[str, Any], bytes]]:
    """The replies of a served session: line and frame of each."""
    out = io.BytesIO()
    serve(session, io.BytesIO(b"".join(messages)), out)
    out.seek(0)
    replies = []
    for line in iter(out.readline, b""):
        reply = json.loads(line)
        replies.append((reply, out.read(reply.get("bytes", 0))))
    return replies


@pytest.fixture
def lag_session(lag_stand: StandOf) -> Session:
    return in_process.open_stand(lag_stand("in_process"), defect=None)


def test_a_framed_conversation_fits_the_schemas(lag_session: Session) -> None:
    requests = [frame(START, "params", np.array([[0.5]])), frame(ADVANCE, "params", BATCH)]
    for request in requests:
        check(json.loads(request.partition(b"\n")[0]), "wire-frame-request", "request")
    replies = talk(lag_session, *requests)
    for reply, payload in replies:
        check(reply, "wire-frame-reply", "reply")
        check(reply, "wire-reply", "reply")
        assert len(payload) == reply["bytes"]
    rows = unframe(replies[1][1], replies[1][0]["result"]["shape"], (3, 1, 2))
    assert np.isnan(rows[1:, 0, 0]).all()
    assert np.isfinite(rows[0]).all()


def test_the_layout_is_as_the_page_says() -> None:
    sent = frame(
        {"id": 3, "method": "advance", "params": {"lanes": [0, 1]}}, "params", np.arange(4.0).reshape(1, 2, 2)
    )
    line, _, payload = sent.partition(b"\n")
    assert json.loads(line) == {
        "id": 3, "method": "advance", "params": {"lanes": [0, 1], "shape": [1, 2, 2]}, "bytes": 32,
    }  # fmt: skip
    assert payload == bytes.fromhex("0000000000000000000000000000f03f00000000000000400000000000000840")


def test_the_example_on_the_page_is_right() -> None:
    page = (Path(__file__).resolve().parents[2] / "docs" / "reference" / "protocol.md").read_text("utf-8")
    block = page.partition("```frames\n")[2].partition("```")[0].splitlines()
    sent, payload, answered, reply = (line[2:] for line in block)
    rows = np.array([[[0.5, 200.0]], [[0.75, 200.0]]])
    message = {"id": 3, "method": "advance", "params": {"lanes": [0]}}
    assert frame(message, "params", rows) == sent.encode() + b"\n" + bytes.fromhex(payload)
    check(json.loads(answered), "wire-frame-reply", "reply")
    shape = json.loads(answered)["result"]["shape"]
    assert unframe(bytes.fromhex(reply), shape, (2, 1, 1)).ravel().tolist() == [30.0, 31.0]


def test_the_schemas_refuse_what_they_should() -> None:
    good = json.loads(frame(ADVANCE, "params", BATCH).partition(b"\n")[0])
    for change in ({"bytes": 7}, {"bytes": 800_000}, {"method": "reset"}, {"params": {"lanes": [0]}}):
        with pytest.raises(InputError):
            check({**good, **change}, "wire-frame-request", "request")


@pytest.mark.parametrize(
    ("message", "word"),
    [
        (encode({**ADVANCE, "bytes": 7}), "bytes is 7"),
        (encode({**ADVANCE, "bytes": True}), "bytes is True"),
        (encode({**ADVANCE, "bytes": 8_000_000}), "at most 400,000"),
    ],
    ids=["odd", "boolean", "over the limit"],
)
def test_a_frame_without_a_known_end_ends_the_program(
    lag_session: Session, message: bytes, word: str
) -> None:
    replies = talk(
        lag_session, frame(START, "params", np.array([[0.5]])), message, encode({"id": 9, "method": "reset"})
    )
    assert len(replies) == 2
    assert word in replies[1][0]["error"]["message"]


def test_a_frame_cut_short_ends_the_program(lag_session: Session) -> None:
    replies = talk(
        lag_session, frame(START, "params", np.array([[0.5]])), frame(ADVANCE, "params", BATCH)[:-3]
    )
    assert "the input ended after 21 of 24 bytes" in replies[1][0]["error"]["message"]


@pytest.mark.parametrize(
    ("rows", "change", "word"),
    [
        (BATCH, {"shape": [2, 1, 1]}, "24 bytes for the shape [2, 1, 1]"),
        (BATCH, {"shape": [3, 2, 1]}, "shape is [3, 2, 1], expected [3, 1, 1]"),
        (BATCH, {"shape": "wide"}, "needs the lists"),
        (BATCH, {"shape": [True, 1, 1]}, "shape is [True, 1, 1]"),
        (BATCH, {"shape": None}, "needs the lists"),
    ],
)
def test_a_frame_of_another_shape_is_refused_and_harms_nothing(
    lag_session: Session, rows: Array, change: dict[str, Any], word: str
) -> None:
    line, _, payload = frame(ADVANCE, "params", rows).partition(b"\n")
    request = json.loads(line)
    request["params"].update(change)
    start = frame(START, "params", np.array([[0.5]]))
    replies = talk(lag_session, start, encode(request) + payload, frame(ADVANCE, "params", BATCH))
    assert word in replies[1][0]["error"]["message"]
    assert replies[2][0]["result"]["shape"] == [3, 1, 2]


def drive(session: Session) -> list[Array]:
    first = session.initialise([Start("running", (0.3, 7.0))], 1800, INPUTS, OUTPUTS)
    rows = np.full((4, 1, 2), 0.7)
    return [first, session.advance([0], rows), session.advance([0], rows)]


@pytest.mark.parametrize(
    ("vice", "code", "word"),
    [
        ("no_frame", "protocol", "has no frame where a frame was asked for"),
        ("wrong_shape", "protocol", "shape is [5, 1, 2], expected [4, 1, 2]"),
        ("shape_is_a_word", "protocol", "shape is 'wide'"),
        ("odd_bytes", "protocol", "bytes is 61"),
        ("bytes_is_a_word", "protocol", "bytes is 'many'"),
        ("huge_frame", "protocol", "at most 400,000 are allowed"),
        ("fewer_bytes", "protocol", "56 bytes for the shape [4, 1, 2], expected 64"),
        ("cut_frame", "crash", "in the middle of a message"),
        ("slow_drip", "hang", "no reply to advance within"),
    ],
)
@pytest.mark.parametrize("kind", ["stdio", "tcp"])
def test_a_model_that_breaks_its_frames(
    stream_stand: StandOf, gone: Gone, kind: str, vice: str, code: str, word: str
) -> None:
    request = "0.3 s" if vice == "slow_drip" else "10 s"
    session = OPEN[kind](stream_stand(vice, kind, frames=True, request=request), defect=None)
    assert isinstance(session, WireSession)
    try:
        with pytest.raises(StandError) as caught:
            drive(session)
        assert (caught.value.code, word in caught.value.message) == (code, True), caught.value
        assert gone(session.group)
    finally:
        session.close()


def test_a_frame_that_nobody_asked_for(stream_stand: StandOf) -> None:
    session = stdio.open_stand(stream_stand("uncalled_frame", "stdio"), defect=None)
    try:
        with pytest.raises(StandError, match="has a frame where none was asked for"):
            drive(session)
    finally:
        session.close()


def test_framed_and_plain_rows_are_the_same_to_the_last_bit(
    stream_stand: StandOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[bytes] = []
    send = ByteChannel.send

    def listening(self: ByteChannel, message: bytes, until: float) -> bytes:
        sent.append(message)
        return send(self, message, until)

    monkeypatch.setattr(ByteChannel, "send", listening)
    rows = np.random.default_rng(5).normal(size=(700, 2, 2)) * 10.0 ** np.arange(-150, 550).reshape(
        -1, 1, 1
    ).clip(-150, 290)
    numbers = set()
    for kind in ("stdio", "tcp"):
        for frames in (True, False):
            session = OPEN[kind](stream_stand("none", kind, frames=frames), defect=None)
            try:
                session.initialise([Start("running", (0.3, 7.0))] * 2, 1800, INPUTS, OUTPUTS)
                numbers.add(session.advance([0, 1], rows).tobytes())
            finally:
                session.close()
            assert any(b'"bytes":' in message for message in sent) == frames
            sent.clear()
    assert len(numbers) == 1


def test_nan_keeps_its_payload() -> None:
    odd = (
        np.array([0x7FF8_0000_DEAD_BEEF, 0xFFF0_0000_0000_0000], dtype=np.uint64)
        .view(np.float64)
        .reshape(1, 2)
    )
    message = frame({"result": {}}, "result", odd)
    assert unframe(message.partition(b"\n")[2], [1, 2], (1, 2)).tobytes() == odd.tobytes()


def test_a_frame_over_the_limit_is_refused() -> None:
    assert frame_bytes({"bytes": 400_000}) == 400_000
    assert frame_bytes({}) is None
    with pytest.raises(WireError):
        frame_bytes({"bytes": 400_008})
