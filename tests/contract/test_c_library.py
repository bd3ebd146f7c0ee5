"""C libraries in their worker: what they compute arrives, and what they do wrong ends in its word and stays theirs."""

import ctypes
import dataclasses
import os
import time
from collections.abc import Callable
from pathlib import Path

import cffi
import numpy as np
import pytest

from leverproof.errors import InputError, StandError
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof_adapters import c_library, worker_c_library, worker_ctypes
from leverproof_adapters.wire_session import WireSession

StandOf = Callable[..., StandFile]
Mount = Callable[..., MountedStand]
Gone = Callable[[int | None], bool]
INPUTS, OUTPUTS = ("throttle", "mix"), ("tiny", "map", "engine_speed")


def drive(session: Session) -> list[Array]:
    """Two batches: the vice shows in the second."""
    first = session.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS)
    rows = np.full((4, 1, 2), 0.6)
    return [first, session.advance([0], rows), session.advance([0], rows)]


def opened(stand: StandFile, vice: str | None = None) -> WireSession:
    session = c_library.open_stand(stand, defect=vice)
    assert isinstance(session, WireSession)
    return session


def fault_of(stand: StandFile, gone: Gone, vice: str | None = None) -> StandError:
    session = opened(stand, vice)
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
        ("crash-at-start", "no_handshake", "SIGSEGV"),
        ("exit-at-start", "no_handshake", "exit code 0"),
        ("crash", "crash", "SIGSEGV"),
        ("overwrites", "crash", "ended by signal"),
        ("abort", "crash", "SIGABRT"),
        ("exit", "crash", "exit code 0"),
        ("bad-request", "refused", "leverproof_advance returned 1 (bad request)"),
        ("unknown-code", "refused", "returned -17 (a code that the header does not know)"),
        ("no-such-vice", "refused", "no such defect as 'no-such-vice'"),
    ],
)
def test_each_fault_has_its_word(library_stand: StandOf, gone: Gone, vice: str, code: str, word: str) -> None:
    fault = fault_of(library_stand(), gone, vice)
    assert (fault.code, word in fault.message) == (code, True), fault


@pytest.mark.parametrize(
    ("macro", "code", "word"),
    [
        ("CRASH_AT_LOAD", "no_handshake", "SIGSEGV"),
        ("EXIT_AT_LOAD", "no_handshake", "exit code 9"),
        ("OTHER_VERSION", "version", "version 99 of the interface, the harness speaks 1"),
        ("NO_CREATE", "no_program", "no function leverproof_create"),
        ("NULL_DESCRIPTION", "protocol", "leverproof_describe returned NULL"),
        ("NAMELESS", "protocol", "version"),
        ("COUNTLESS", "protocol", "has -3 inputs"),
    ],
)
def test_what_shows_before_a_model_exists(
    library_stand: StandOf, gone: Gone, macro: str, code: str, word: str
) -> None:
    fault = fault_of(library_stand(macro, loader="ctypes"), gone)
    assert (fault.code, word in fault.message) == (code, True), fault


@pytest.mark.parametrize(
    ("macro", "code", "word"),
    [
        ("OTHER_VERSION", "version", "version 99 of the interface, the harness speaks 1"),
        ("NO_CREATE", "no_program", "no function leverproof_create"),
        ("NULL_DESCRIPTION", "protocol", "leverproof_describe returned NULL"),
        ("COUNTLESS", "protocol", "has -3 inputs"),
    ],
)
def test_both_loaders_find_the_same_wrong(
    built: Callable[..., Path], macro: str, code: str, word: str
) -> None:
    for loader in ("ctypes", "cffi"):
        with pytest.raises(StandError, match=word) as caught:
            worker_c_library.hosted({"library": str(built(macro)), "loader": loader})
        assert caught.value.code == code


@pytest.mark.parametrize(
    ("macros", "vice", "code", "changes"),
    [
        (("HANG_AT_LOAD",), None, "no_handshake", {"start": "0.8 s"}),
        ((), "hang-at-start", "no_handshake", {"start": "0.8 s"}),
        ((), "hang", "hang", {"request": "0.3 s"}),
    ],
)
def test_a_hang_ends_at_its_deadline(
    library_stand: StandOf, gone: Gone, macros: tuple[str, ...], vice: str | None, code: str,
    changes: dict[str, str],
) -> None:  # fmt: skip
    began = time.monotonic()
    fault = fault_of(library_stand(*macros, **changes), gone, vice)
    assert (fault.code, "within" in fault.message) == (code, True)
    assert time.monotonic() - began < 10.0


def test_its_own_words_are_shown(library_stand: StandOf, gone: Gone) -> None:
    for loader in ("ctypes", "cffi"):
        fault = fault_of(library_stand("WITH_WORDS", loader=loader), gone, "bad-request")
        assert fault.message.endswith("returned 1 (bad request): the oil is cold")


@pytest.mark.parametrize(
    "vice", ["prints", "floods", "reads-input", "closes-streams", "rounds-up", "crash-at-end", None]
)
def test_harmless_habits_are_no_fault(library_stand: StandOf, gone: Gone, vice: str | None) -> None:
    session = opened(library_stand(), vice)
    try:
        first, _, last = drive(session)
        assert session.frames
        assert first[0, 1] == 30.0 + 70.0 * 0.3
        assert np.isfinite(last).all()
        assert 0.1 + 0.2 == 0.30000000000000004, "the harness goes on rounding to nearest"
        third = 1.0 / 3.0
        expected = np.nextafter(third, 1.0) if vice == "rounds-up" else third
        assert last[-1, 0, 0] == expected, "every bit of what the library computed arrives"
    finally:
        session.close()
    assert gone(session.group)


def test_not_a_number_passes_through(library_stand: StandOf) -> None:
    session = opened(library_stand(), "nan")
    try:
        last = drive(session)[2]
    finally:
        session.close()
    assert np.isnan(last[-1, 0, 1])
    assert last[-1, 0, 2] == -np.inf


def test_a_crash_shows_where_it_happened(library_stand: StandOf, gone: Gone) -> None:
    assert "Segmentation fault" in fault_of(library_stand(), gone, "crash").evidence


def test_what_is_no_library_is_told(library_stand: StandOf, gone: Gone, tmp_path: Path) -> None:
    path = tmp_path / "libtext.so"
    path.write_text("not a library at all", "utf-8")
    fault = fault_of(dataclasses.replace(library_stand(), target=str(path)), gone)
    assert fault.code == "no_program"
    assert "not a library that can be loaded here" in fault.message
    with pytest.raises(StandError, match="not a library that can be loaded here"):
        worker_c_library.hosted({"library": str(path), "loader": "ctypes"})


def test_a_missing_library_is_told_with_the_way_to_build_it(library_stand: StandOf) -> None:
    stand = dataclasses.replace(library_stand(), target="libnone.so", build_hint="cc -shared")
    with pytest.raises(StandError, match="build it first: cc -shared") as caught:
        c_library.open_stand(stand, defect=None)
    assert caught.value.code == "no_program"


def test_unknown_options_are_refused(library_stand: StandOf, gone: Gone) -> None:
    stand = dataclasses.replace(library_stand(), options={"lag": 1})
    with pytest.raises(InputError, match="no option 'lag'"):
        c_library.open_stand(stand, defect=None)
    assert "unknown loader 'magic'" in fault_of(library_stand(loader="magic"), gone).message


def test_both_loaders_give_the_same_numbers_and_lanes_stand_alone(
    library_stand: StandOf, mounted: Mount
) -> None:
    numbers = []
    for loader in ("ctypes", "cffi"):
        session = mounted(library_stand(loader=loader)).session
        starts = [Start("running", (0.1 * k, 2.0)) for k in range(3)]
        channels = ("throttle", "mixture"), ("manifold_pressure", "engine_speed")
        rows = np.random.default_rng(7).random((40, 3, 2)) * [1.0, 0.0]
        first = session.initialise(starts, 1800, *channels)
        whole = session.advance([0, 1, 2], rows)
        session.reset()
        session.initialise(starts, 1800, *channels)
        parts = [session.advance([2, 0], part[:, [2, 0]]) for part in np.split(rows, [1, 2, 30])]
        assert np.concatenate(parts).tobytes() == whole[:, [2, 0]].tobytes()
        numbers.append(np.concatenate([first.ravel(), whole.ravel()]).tobytes())
    assert numbers[0] == numbers[1]


def test_a_stand_folder_cannot_stand_in_for_our_modules(library_stand: StandOf, tmp_path: Path) -> None:
    stand = dataclasses.replace(library_stand(), options={})
    assert Path(stand.path).parent == tmp_path
    for name in ("numpy.py", "cffi.py", "json.py", "leverproof.py", "sitecustomize.py"):
        (tmp_path / name).write_text("raise SystemExit('imported from the stand folder')\n", "utf-8")
    session = opened(stand)
    try:
        assert session.hello().model == "faulty library"
    finally:
        session.close()


def test_the_layouts_of_ctypes_are_those_of_the_header() -> None:
    text = c_library.header().read_text("utf-8")
    ffi = cffi.FFI()
    ffi.cdef(text.partition("/* begin of the declarations")[2].partition("*/")[2].partition("/* end of")[0])
    for ours, theirs in (
        (worker_ctypes._Signal, "leverproof_signal"),
        (worker_ctypes._Description, "leverproof_description"),
    ):
        assert ctypes.sizeof(ours) == ffi.sizeof(theirs)
        fields = dict(ffi.typeof(theirs).fields)
        assert [name for name, _ in ours._fields_] == list(fields)
        for name, field in fields.items():
            assert getattr(ours, name).offset == field.offset
    assert os.fspath(c_library.header()).endswith("leverproof.h")
