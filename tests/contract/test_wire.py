"""What goes over the wire fits the message schemas, and both ends keep to the protocol."""

import dataclasses
import io
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from leverproof.errors import InputError, StandError
from leverproof.schema import check
from leverproof.stand.guard import GuardedSession
from leverproof.stand.port import Capabilities, Hello, Session, Signal, StandFile, Start
from leverproof.stand.server import serve
from leverproof.stand.wire import decode, encode, encode_numbers, hello_result, read_hello
from leverproof_adapters import in_process, stdio
from leverproof_adapters.byte_channel import ByteChannel

StandOf = Callable[..., StandFile]
MODELS = Path(__file__).resolve().parents[1] / "models"
RESULTS = {
    "hello": "wire-hello-result",
    "initialise": "wire-initialise-result",
    "advance": "wire-advance-result",
}


@pytest.fixture
def lag_session(lag_stand: StandOf) -> Session:
    return in_process.open_stand(lag_stand("in_process"), defect=None)


def talk(session: Session, *requests: dict[str, Any] | bytes) -> list[dict[str, Any]]:
    """The replies of a served session to a list of requests."""
    lines = [request if isinstance(request, bytes) else encode(request) for request in requests]
    replies = io.BytesIO()
    serve(session, io.BytesIO(b"".join(lines)), replies)
    return [json.loads(line) for line in replies.getvalue().splitlines()]


def request(number: int, method: str, **params: Any) -> dict[str, Any]:
    return {"id": number, "method": method, "params": params}


HELLO = request(1, "hello", protocols=[1], harness="a test")
START = request(
    2,
    "initialise",
    step_ticks=1800,
    inputs=["throttle"],
    outputs=["map", "mood"],
    starts=[{"engine": "running", "row": [0.5]}],
)


def test_a_conversation_fits_the_schemas(lag_session: Session) -> None:
    requests = [
        HELLO,
        START,
        request(3, "advance", lanes=[0], rows=[[[0.25]], [["NaN"]]]),
        request(4, "reset"),
        request(5, "close"),
    ]
    replies = talk(lag_session, *requests)
    for asked, answered in zip(requests, replies, strict=True):
        check(asked, "wire-request", "request")
        check(answered, "wire-reply", "reply")
        assert answered["id"] == asked["id"]
        if asked["method"] in RESULTS:
            check(answered["result"], RESULTS[asked["method"]], "result")
    assert replies[2]["result"]["rows"][1] == [["NaN", 0.0]]


@pytest.mark.parametrize("frames", [True, False])
def test_what_the_adapter_sends_fits_the_schema(
    lag_stand: StandOf, frames: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[bytes] = []
    send = ByteChannel.send

    def listening(self: ByteChannel, message: bytes, until: float) -> bytes:
        sent.append(message)
        return send(self, message, until)

    monkeypatch.setattr(ByteChannel, "send", listening)
    stand = dataclasses.replace(lag_stand("stdio"), options={"float64_frames": frames})
    session = stdio.open_stand(stand, defect=None)
    try:
        session.hello()
        session.initialise([Start("stopped", (0.0,))], 900, ["throttle"], ["map"])
        session.advance([0], np.array([[[0.1]], [[np.inf]]]))
        session.reset()
    finally:
        session.close()
    lines = [message.partition(b"\n")[0] for message in sent]
    methods = [decode(line)["method"] for line in lines]
    assert methods == ["hello", "initialise", "advance", "reset", "close"]
    for number, line in enumerate(lines, 1):
        framed = frames and number in (2, 3)
        check(decode(line), "wire-frame-request" if framed else "wire-request", "request")
        assert decode(line)["id"] == number


@pytest.mark.parametrize(
    ("message", "code", "word"),
    [
        (request(9, "hello", protocols=[2, 3], harness="x"), "version", "speaks protocol 1"),
        (request(9, "ignite"), "unknown_method", "'ignite'"),
        (request(9, "advance", lanes=[0], rows=[[[0.1]]]), "bad_request", "before initialise"),
        ({**START, "params": {**START["params"], "outputs": ["mapp"]}}, "bad_request", "no 'mapp'"),
        ({**START, "params": {**START["params"], "step_ticks": 0}}, "bad_request", "step_ticks is 0"),
        ({**START, "params": {**START["params"], "starts": []}}, "bad_request", "1 to 8 entries"),
        (b"{torn\n", "bad_request", "not JSON"),
        (b"\xff\n", "bad_request", "not UTF-8"),
        (b"[1]\n", "bad_request", "not a JSON object"),
    ],
)
def test_a_bad_request_is_answered_and_harms_nothing(
    lag_session: Session, message: dict[str, Any] | bytes, code: str, word: str
) -> None:
    bad, good = talk(lag_session, message, HELLO)
    check(bad, "wire-reply", "reply") if isinstance(message, dict) else None
    assert bad["error"]["code"] == code
    assert word in bad["error"]["message"]
    assert good["result"]["model"]["name"] == "lag engine"


@pytest.mark.parametrize(
    ("rows", "word"),
    [
        ([[[0.1, 0.2]]], "has 2 columns, expected 1"),
        ([[[0.1], [0.2]]], "has 2 lanes, expected 1"),
        ([[["fast"]]], '"fast", not a number'),
        ([[[True]]], "true, not a number"),
        ([[[None]]], "null, not a number"),
        ([[0.1]], "is not a list"),
    ],
)
def test_rows_that_do_not_fit_are_named(lag_session: Session, rows: list[Any], word: str) -> None:
    reply = talk(lag_session, START, request(3, "advance", lanes=[0], rows=rows))[1]
    assert word in reply["error"]["message"]


def test_nothing_is_answered_after_close(lag_session: Session) -> None:
    assert len(talk(lag_session, request(1, "close"), HELLO)) == 1


def test_a_description_survives_the_wire() -> None:
    said = Hello(
        "a model",
        "2",
        (Signal("throttle", "1"), Signal("mixture", "1", ("cut_off", "auto_rich"))),
        (Signal("torque", "N.m"),),
        Capabilities(3, 700, False, False, True, True, "free_running"),
        "textbook relations",
    )
    result = decode(encode(hello_result(said)))
    check(result, "wire-hello-result", "result")
    assert read_hello({**result, "later": 1}) == said


def test_absent_capabilities_are_the_declared_defaults() -> None:
    said = read_hello(
        {
            "model": {"name": "m", "version": "1"},
            "inputs": [],
            "outputs": [],
            "capabilities": {"mood": "good"},
        }
    )
    assert said.capabilities == Capabilities()


def test_an_exception_of_the_model_is_answered(
    lag_stand: StandOf, capsys: pytest.CaptureFixture[str]
) -> None:
    guarded = in_process.open_stand(lag_stand("in_process", "Raising"), defect=None)
    assert isinstance(guarded, GuardedSession)
    rows = encode_numbers(np.zeros((1, 1, 1)))
    first, answer, again = talk(
        guarded.guarded, START, request(3, "advance", lanes=[0], rows=rows), {**START, "id": 4}
    )
    assert answer == {
        "id": 3,
        "error": {"code": "crash", "message": "ZeroDivisionError: valve overlap of zero"},
    }
    assert (again["id"], again["result"]) == (4, first["result"])
    told = capsys.readouterr().err
    assert "Traceback" in told and "valve overlap of zero" in told


@pytest.mark.parametrize("kind", ["stdio", "in_process"])
def test_an_exception_of_the_model_is_a_crash_wherever_it_runs(
    kind: str, lag_stand: StandOf, stand_of: StandOf, gone: Callable[[int | None], bool]
) -> None:
    if kind == "in_process":
        session: Any = in_process.open_stand(lag_stand(kind, "Raising"), defect=None)
    else:
        command = [sys.executable, str(MODELS / "lag_engine.py"), "--class", "Raising"]
        session = stdio.open_stand(stand_of(command=command), defect=None)
    session.hello()
    session.initialise([Start("running", (0.5,))], 1800, ("throttle",), ("map",))
    with pytest.raises(StandError, match="valve overlap of zero") as caught:
        session.advance([0], np.zeros((1, 1, 1)))
    assert caught.value.code == "crash"
    assert "Traceback" in caught.value.evidence
    session.close()
    assert kind == "in_process" or gone(session.group)


def test_a_request_schema_refuses_what_it_should() -> None:
    for wrong in (
        request(0, "hello"),
        request(1, "advance", lanes=[0], rows=[[[None]]]),
        request(1, "start"),
    ):
        with pytest.raises(InputError):
            check(wrong, "wire-request", "request")
