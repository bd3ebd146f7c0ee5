"""The register of faulty models: what each does, how it is mounted, and how a run with it must end.

A row more is an entry more in ``FAULTS``; a kind of stand more is an entry more in ``BUILDERS``. Most vices show only
while the throttle is opened beyond half, so that of the two cases flown beside each other, ``gentle`` and ``opened``,
the first must end as with an honest model.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import ModuleType

MODELS = Path(__file__).resolve().parent
CONTRACT = MODELS.parent / "contract"
PASSES = "conditional pass"
"""How ``gentle`` ends with an honest model of this kind: without a height it can be told, it has no step study."""


@dataclass(frozen=True)
class Fault:
    """One faulty model. ``stand`` is a key of ``BUILDERS`` and ``vice`` what that is told.

    ``exit`` is the exit code of ``run``, ``gentle`` and ``opened`` the verdicts of the two cases (empty where none
    is flown), ``ending`` how the run that met the vice ended, ``says`` words that somebody must be shown. ``cases``
    are asked for in their place; ``also`` what becomes of them.
    """

    name: str
    does: str
    stand: str
    vice: str
    exit: int
    says: str
    ending: str = ""
    gentle: str = PASSES
    opened: str = "error"
    start: str = "20 s"
    request: str = "10 s"
    cases: tuple[str, ...] = ()
    also: str = ""


@dataclass(frozen=True)
class Mounting:
    """What to write and set before a run: the stand file without its common head, a defect to ask for, the
    environment, and files that must not come to be."""

    stand: str
    defect: str = ""
    environment: dict[str, str] = field(default_factory=dict)
    forbidden: tuple[Path, ...] = ()


def _early(
    name: str, does: str, stand: str, vice: str, says: str, *, exit: int = 3, start: str = "20 s"
) -> Fault:
    """A model that no case can be flown on."""
    return Fault(name, does, stand, vice, exit, says, gentle="", opened="", start=start)


def _hang(name: str, does: str, stand: str, vice: str, says: str = "no reply to advance within") -> Fault:
    return Fault(name, does, stand, vice, 1, says, ending="hang", request="0.6 s")


def _lie(name: str, does: str, vice: str, says: str) -> Fault:
    return Fault(name, does, "program", vice, 1, says, ending="protocol")


def _clock(name: str, does: str, vice: str, ending: str, says: str) -> Fault:
    """A model on its own clock whose clock goes wrong once the throttle is opened."""
    return Fault(name, does, "clock", vice, 1, says, ending=ending, request="1.5 s")


FAULTS: list[Fault] = [
    _early("dies-at-start", "ends before it has said hello", "program", "dies_at_start", "exit code 7"),
    _early("hangs-at-start", "never says hello", "program", "hangs_at_start", "within 0.4 s", start="0.4 s"),
    _early("wrong-version", "speaks another protocol", "program", "wrong_version", "protocol 2"),
    _early("endless-banner", "writes a banner beyond 64 KiB", "program", "endless_banner", "before the reply to hello"),
    Fault("banner", "writes three lines before hello", "program", "banner", 0, "Corrie engine, revision 3",
          ending="completed", opened=PASSES),
    Fault("dies", "ends in the middle of a run", "program", "dies", 1, "exit code 3", ending="crash"),
    Fault("segmentation-fault", "is ended by SIGSEGV", "program", "raises_a_signal", 1, "SIGSEGV", ending="crash"),
    Fault("leaves-a-child", "ends and leaves a child that ignores termination", "program", "leaves_a_child", 1,
          "exit code 4", ending="crash"),
    Fault("leaves-a-daemon", "ends and leaves a child in a session of its own", "program", "leaves_a_daemon", 1,
          "exit code 4", ending="crash"),
    Fault("closes-its-output", "closes its output and lives on", "program", "closes_its_output", 1, "SIGTERM",
          ending="crash"),
    Fault("half-a-line", "ends in the middle of a line", "program", "half_a_line", 1, "middle of a message",
          ending="crash"),
    _hang("half-a-line-and-waits", "stops in the middle of a line", "program", "half_a_line_and_waits"),
    _hang("hangs", "never comes back from advance", "program", "hangs"),
    _hang("ignores-termination", "hangs, ignores termination, has a child that does too", "program",
          "ignores_termination"),
    _hang("slow-drip", "writes a byte each 50 ms", "program", "slow_drip"),
    _lie("floods-its-output", "writes 8 MB that are no message", "floods_its_output", "4,194,304 bytes"),
    Fault("floods-its-errors", "writes 120 KB to standard error at each request", "program", "floods_stderr", 0, "",
          ending="completed", opened=PASSES),
    _lie("chatters", "prints between the messages", "chatters_late", "not JSON"),
    _lie("wrong-id", "answers with another id", "wrong_id", "carries the id"),
    _lie("neither", "answers without a result", "neither", "neither a result"),
    _lie("wrong-columns", "answers with a column too many", "wrong_columns", "columns, expected"),
    _lie("short-batch", "leaves out the last row of a batch", "fewer_rows", "rows, expected"),
    _lie("word", "answers with a word for a number", "word", "not a number"),
    _lie("bare-nan", "writes NaN as no JSON has it", "bare_nan", "the bare word NaN"),
    _lie("not-utf8", "writes bytes that are not UTF-8", "not_utf8", "not UTF-8"),
    _lie("long-message", "writes a message over the limit", "long_line", "4,194,304 bytes"),
    Fault("nan", "gives NaN as manifold pressure", "program", "nan", 1, "not finite", ending="invalid",
          opened="invalid run"),
    Fault("infinity", "gives infinity as engine speed", "program", "infinity", 1, "not finite", ending="invalid",
          opened="invalid run"),
    Fault("huge-numbers", "gives 1e300 as manifold pressure", "program", "huge", 1, "not finite", ending="invalid",
          opened="invalid run"),
    Fault("wrong-units", "declares inHg and answers in kPa", "program", "kilopascals", 1, "", ending="completed",
          gentle="fail", opened="fail"),
    Fault("nondeterministic", "adds noise from an unseeded generator", "program", "noise", 1, "",
          ending="completed", gentle="", opened="", cases=("twice",), also="fail"),
    Fault("leaks-through-reset", "is warmer the longer it has run, however often it begins anew", "program",
          "keeps_its_heat", 1, "", ending="completed", gentle="", opened="", cases=("twice",), also="fail"),
    Fault("tcp-dies", "ends in the middle of a run", "stream", "dies", 1, "exit code 3", ending="crash"),
    Fault("tcp-half-a-line", "closes the connection in the middle of a line", "stream", "closes_mid_line", 1,
          "middle of a message", ending="crash"),
    _hang("tcp-slow-drip", "sends a byte each 50 ms", "stream", "slow_drip"),
    _hang("tcp-ignores-termination", "hangs, ignores termination, has a child that does too", "stream",
          "ignores_termination"),
    _early("tcp-never-listens", "starts and listens to nobody", "stream", "never_listens", "within 0.5 s",
           start="0.5 s"),
    _early("tcp-ends-before-listening", "ends before it listens", "stream", "ends_before_listening", "exit code 5"),
    Fault("library-crashes", "follows a null pointer", "library", "crash", 1, "SIGSEGV", ending="crash"),
    Fault("library-overwrites", "writes 64 MB over its own memory", "library", "overwrites", 1, "ended by signal",
          ending="crash"),
    Fault("library-exits", "calls exit(0)", "library", "exit", 1, "exit code 0", ending="crash"),
    _hang("library-hangs", "never comes back from advance", "library", "hang"),
    Fault("library-refuses", "returns a code that the header does not know", "library", "unknown-code", 1,
          "returned -17", ending="refused"),
    _early("library-crashes-at-load", "crashes while it is loaded", "library", "CRASH_AT_LOAD", "SIGSEGV"),
    _early("library-other-version", "is built for another interface", "library", "OTHER_VERSION", "version 99"),
    Fault("unit-crashes", "is ended by SIGSEGV", "unit", "crashes", 1, "SIGSEGV", ending="crash"),
    _hang("unit-hangs", "never comes back from a step", "unit", "hangs"),
    Fault("unit-exits-and-leaves-a-child", "exits, and leaves a child that holds the line open", "unit", "forks", 1,
          "left a process behind", ending="crash", request="0.6 s"),
    Fault("unit-frees-twice", "frees each instance twice", "unit", "frees_twice", 1, "SIGABRT", ending="completed",
          opened=PASSES),
    Fault("dies-when-closed", "leaves with exit code 5 when told to close", "program", "dies_when_closed", 1,
          "exit code 5", ending="completed", opened=PASSES),
    _early("unit-for-another-platform", "has code for another platform only", "archive", "platform",
           "it has code for", exit=2),
    _early("corrupt-archive", "is half an archive", "archive", "half", "not a readable zip archive", exit=2),
    _early("archive-leads-out", "has a member ../../escape", "archive", "leads_out", "leads out of the archive",
           exit=2),
    _early("archive-bomb", "has a member a thousand times its packed size", "archive", "bomb", "times its size",
           exit=2),
    _clock("clock-stands-still", "its own clock stops", "stands-still", "hang", "stands still"),
    _clock("clock-runs-back", "its own clock goes back by 5 s", "runs-back", "protocol", "back"),
    Fault("clock-runs-double", "its own clock goes twice as fast as declared", "clock", "runs-double", 1,
          "times the rate", ending="protocol", gentle="", opened="", cases=("opened",), also="error"),
    _clock("clock-jumps-ahead", "its own clock skips a minute", "jumps-ahead", "protocol", "s"),
    Fault("object-raises", "raises in the harness's own process", "object", "raises", 1, "valve overlap of zero",
          ending="crash"),
    Fault("object-exits", "calls for the end of the interpreter", "object", "exits", 1, "SystemExit", ending="crash"),
]  # fmt: skip


def _program(fault: Fault, folder: Path) -> Mounting:
    command = [sys.executable, str(MODELS / "faulty_model.py"), "--vice", fault.vice, "--above", "0.5"]
    return Mounting(f'kind = "stdio"\ncommand = {json.dumps(command)}\n')


def _clock_of_its_own(fault: Fault, folder: Path) -> Mounting:
    # How fast a clock goes shows only over most of a second of ours.
    how = ["--rate", "5"] if fault.vice == "runs-double" else ["--rate", "20", "--above", "0.5"]
    command = ["node", str(MODELS / "free_running.mjs"), "--vice", fault.vice, *how]
    longest = '[options]\nlongest_gap = "10 s"\n'
    return Mounting(f'kind = "stdio"\nclock = "free_running"\ncommand = {json.dumps(command)}\n{longest}')


def _stream(fault: Fault, folder: Path) -> Mounting:
    words = ["--vice", fault.vice, "--above", "0.5", "--port", "{port}"]
    command = json.dumps([sys.executable, str(CONTRACT / "faulty_stream.py"), *words])
    return Mounting(f'kind = "tcp"\ntarget = "127.0.0.1:0"\ncommand = {command}\n')


_KPA = '[channels.manifold_pressure]\nname = "map"\n[channels.mixture]\nname = "mix"\n'


def _library(fault: Fault, folder: Path) -> Mounting:
    """Vices in capitals are built in by a macro, the others asked for as a seeded defect."""
    from leverproof_adapters.c_library import header

    built_in = fault.vice.isupper()
    code = ["cc", "-std=c99", "-D_POSIX_C_SOURCE=200809L", "-shared", "-fPIC", "-I", str(header().parent)]
    macro = [f"-D{fault.vice}"] if built_in else []
    source = str(CONTRACT / "faulty_library.c")
    subprocess.run([*code, *macro, "-o", str(folder / "model.so"), source, "-lm"], check=True, timeout=60)
    stand = f'kind = "c_library"\ntarget = "model.so"\n{_KPA}'
    if built_in:
        return Mounting(stand)
    defect = f"{fault.vice}-when-opened"
    return Mounting(f'{stand}[defects.{defect}]\nsize = "large"\nreason = "{fault.does}"\n', defect)


@cache
def _units() -> ModuleType:
    spec = importlib.util.spec_from_file_location("fmi_units", MODELS / "fmi_units.py")
    assert spec is not None and spec.loader is not None
    sys.modules["fmi_units"] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _unit(fault: Fault, folder: Path) -> Mounting:
    _units().built(_units().LAG_ENGINE, 2, folder)
    environment = {"FMI_VICE": fault.vice, "FMI_VICE_WHEN_OPENED": "yes"}
    return Mounting(f'kind = "fmi"\ntarget = "unit.fmu"\n{_KPA}', environment=environment)


def _archive(fault: Fault, folder: Path) -> Mounting:
    """Units that must be refused before any code of theirs runs; none of them has any to run."""
    units, unit = _units(), folder / "unit.fmu"
    recipe = units.LAG_ENGINE
    members: dict[str, bytes | str] = {"modelDescription.xml": units.description(recipe, 2)}
    place = units.member(recipe, 2) if fault.vice != "platform" else f"binaries/elsewhere64/{recipe.name}.so"
    members[place] = b"code"
    if fault.vice == "leads_out":
        members["../../escape"] = "out"
    units.packed(unit, members)
    if fault.vice == "bomb":
        with zipfile.ZipFile(unit, "a", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("resources/zeros.bin", bytes(30_000_000))
    if fault.vice == "half":
        unit.write_bytes(unit.read_bytes()[: unit.stat().st_size // 2])
    out = (folder.parent.parent / "escape", folder.parent / "escape")
    return Mounting(f'kind = "fmi"\ntarget = "unit.fmu"\n{_KPA}', forbidden=out)


def _object(fault: Fault, folder: Path) -> Mounting:
    (folder / "model.py").write_text(_OBJECT.format(base=str(MODELS / "lag_engine.py")), "utf-8")
    return Mounting(f'kind = "in_process"\ntarget = "model.py:{fault.vice}"\n{_KPA}')


_OBJECT = """
import importlib.util

spec = importlib.util.spec_from_file_location("lag_engine_of_an_object", {base!r})
base = importlib.util.module_from_spec(spec)
spec.loader.exec_module(base)


class Opened(base.LagEngine):
    def __init__(self, trouble):
        super().__init__({{}}, None)
        self.trouble = trouble

    def advance(self, lanes, rows):
        if (rows[:, :, self.inputs.index("throttle")] > 0.5).any():
            raise self.trouble
        rows[:, :, self.inputs.index("throttle")] *= 3.0
        return super().advance(lanes, rows)


def raises(options, defect):
    return Opened(ZeroDivisionError("valve overlap of zero"))


def exits(options, defect):
    return Opened(SystemExit(2))
"""

BUILDERS: dict[str, Callable[[Fault, Path], Mounting]] = {
    "program": _program,
    "stream": _stream,
    "clock": _clock_of_its_own,
    "library": _library,
    "unit": _unit,
    "archive": _archive,
    "object": _object,
}
