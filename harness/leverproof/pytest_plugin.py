"""The pytest plug-in: each judgement of the selected cases becomes a test of a user's own test run.

All selected cases are conducted in one plan before the first test, and leave one record; the tests only report
from that record. Without one of the options nothing happens at all: this module is loaded in every pytest run of
everybody who has the package installed, so it imports nothing but pytest until an option asks for it.
"""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from _pytest._code.code import TerminalRepr

    from leverproof.cases.model import ReferenceCase
    from leverproof.errors import LeverproofError
    from leverproof.judge.model import Finding
    from leverproof.record.reader import Record
    from leverproof.session import RunRequest

NAME = "leverproof"
_INTERRUPTED, _NOTHING_JUDGED = 130, 5
_ALLOWANCES = pytest.StashKey[list[str]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """The options; giving one of the first three turns the plug-in on."""
    group = parser.getgroup(NAME, "leverproof: judge a simulated engine against reference cases")
    group.addoption(
        "--leverproof-stand", metavar="FILE", help="how the model is mounted (default: the embedded engine)"
    )
    group.addoption(
        "--leverproof-sheet",
        metavar="FILE",
        help="engine sheet, a file or a shipped id (default: the stand's)",
    )
    group.addoption(
        "--leverproof-case",
        metavar="GLOB",
        action="append",
        default=[],
        help="only reference cases whose id fits; may be repeated",
    )
    group.addoption(
        "--leverproof-out",
        metavar="DIR",
        help="where the record goes (default: a temporary folder of pytest); turns nothing on by itself",
    )

    group.addoption(
        "--leverproof-deferrals",
        metavar="FILE",
        help="known deviations put off by a person, and tolerances loosened; turns nothing on by itself",
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(session: pytest.Session, config: pytest.Config, items: list[pytest.Item]) -> None:
    """Adds the judgements to what was collected, before anything is deselected by keyword or mark."""
    asked = ("stand", "sheet", "case")
    if not any(config.getoption(f"leverproof_{name}") for name in asked):
        return
    suite: Suite = Suite.from_parent(session, name=NAME, nodeid=NAME)
    suite.cases = _selected(config.getoption("leverproof_case"))
    suite.tested, suite.engines = _engines(config.getoption("leverproof_stand"))
    items.extend(session.genitems(suite))


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> None:
    """Conducts the cases that have a test left, all in one plan, before the first test."""
    if session.config.option.collectonly or (
        session.testsfailed and not session.config.option.continue_on_collection_errors
    ):
        return
    ours = [item for item in session.items if isinstance(item, JudgementItem)]
    if ours:
        ours[0].suite.conduct(tuple(dict.fromkeys(item.case for item in ours)))


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """A run in which all judgements were skipped has judged nothing, and must not look like a success; nor must one
    whose model ended badly."""
    items = [item for item in getattr(session, "items", ()) if isinstance(item, JudgementItem)]
    reported = [finding for item in items if (finding := item.reported) is not None]
    if not reported or exitstatus != pytest.ExitCode.OK:
        return
    from leverproof.judge.endings import exit_code

    code = exit_code(reported, handshake=True, input_errors=False, interrupted=False, internal=False)
    if code == _NOTHING_JUDGED:
        session.exitstatus = pytest.ExitCode.NO_TESTS_COLLECTED
    for record in {id(r): r for item in items if (r := item.suite.record) is not None}.values():
        _told_of_its_end(session, record)


def _told_of_its_end(session: pytest.Session, record: Record) -> None:
    from leverproof.judge.endings import DISORDERLY
    from leverproof.report.fold import notices

    if record.ending != DISORDERLY:
        return
    session.exitstatus = pytest.ExitCode.TESTS_FAILED
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is not None:
        reporter.write_line("")
        for line in notices(record):
            reporter.write_line(f"leverproof: {line}")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Says what was put off and which tolerances were loosened, whether the tests passed or not."""
    told = config.stash.get(_ALLOWANCES, [])
    if told:
        terminalreporter.section("leverproof: put off or loosened")
        for line in told:
            terminalreporter.line(line)


class Suite(pytest.Collector):
    """All selected reference cases and, once :meth:`conduct` has run, the record of them."""

    def __init__(self, **given: object) -> None:
        super().__init__(**given)  # type: ignore[arg-type]
        self.cases: tuple[ReferenceCase, ...] = ()
        self.tested: tuple[int, ...] = (1,)
        self.engines = 1
        self.record: Record | None = None
        self.trouble = ""
        self._findings: dict[tuple[str, str], Finding] = {}

    def collect(self) -> Iterator[CaseNode]:
        """One node a case; of a model with several engines one for each that is tested."""
        from leverproof.engine_ids import on_engine

        for engine in self.tested:
            for case in self.cases:
                name = on_engine(case.id, engine, self.engines)
                node: CaseNode = CaseNode.from_parent(self, name=name)
                node.case = case
                yield node

    def conduct(self, case_ids: tuple[str, ...]) -> None:
        """Mounts the model, moves its levers through these cases and judges them; the record holds it all.

        Raises :class:`pytest.UsageError` naming file and key when the stand, the sheet or the options cannot be
        used. A model that never completes its handshake fails every test, with what it wrote."""
        from datetime import UTC, datetime

        from leverproof.engine_ids import case_and_engine
        from leverproof.errors import LeverproofError
        from leverproof.record.reader import read_record
        from leverproof.report.fold import all_findings, put_off, widened
        from leverproof.report.wording import visible
        from leverproof.session import RunRequest, run_session

        option = self.config.getoption
        request = RunRequest(
            stand=option("leverproof_stand"),
            sheet=option("leverproof_sheet"),
            cases=tuple(dict.fromkeys(case_and_engine(name)[0] for name in case_ids)),
            out=self._folder(),
            command=("pytest", *map(str, self.config.invocation_params.args)),
            deferrals=option("leverproof_deferrals"),
            today=datetime.now(UTC).date(),
        )
        _check_deferrals(request)
        try:
            # A warning in the user's model must not become a crash only because this test run turns its own
            # warnings into errors: the verdicts are to be those of the command.
            with warnings.catch_warnings():
                warnings.simplefilter("default")
                code = run_session(request)
            self.record = read_record(request.out)
        except LeverproofError as problem:
            raise _usage_error(problem) from None
        if code == _INTERRUPTED:
            pytest.exit("interrupted while the levers were moving", returncode=_INTERRUPTED)
        if not self.record.expectations:
            self.trouble = _trouble(self.record)
        findings = all_findings(self.record)
        for finding in findings:
            self._findings.setdefault((finding.case, finding.judgement), finding)
        self.config.stash[_ALLOWANCES] = [visible(line) for line in (*put_off(findings), *widened(findings))]

    def finding(self, case_id: str, judgement_id: str) -> Finding:
        """What came out for one judgement; fails the test when no judging took place."""
        if self.record is None or self.trouble:
            pytest.fail(self.trouble or "error: the reference cases were not conducted", pytrace=False)
        return self._findings[case_id, judgement_id]

    def _folder(self) -> Path:
        worker = getattr(self.config, "workerinput", {}).get("workerid", "")
        asked = self.config.getoption("leverproof_out")
        if asked:
            return Path(asked) / worker if worker else Path(asked)
        factory = getattr(self.config, "_tmp_path_factory", None)
        if factory is not None:
            return Path(factory.mktemp("leverproof-record"))
        return Path(tempfile.mkdtemp(prefix="leverproof-record-"))


class CaseNode(pytest.Collector):
    """One reference case."""

    case: ReferenceCase

    def collect(self) -> Iterator[JudgementItem]:
        """One test a judgement."""
        for judgement in self.case.judgements:
            item: JudgementItem = JudgementItem.from_parent(self, name=judgement.id)
            item.extra_keyword_matches.update((self.case.subject, judgement.what, judgement.weight))
            yield item


class JudgementItem(pytest.Item):
    """One judgement. It moves nothing and judges nothing: it reports its finding from the record.

    As in the table of endings: a failed judgement is a failure, one that could not be judged an error (so it is
    raised while setting up), and what decides nothing is skipped with its reason."""

    reported: Finding | None = None

    @property
    def suite(self) -> Suite:
        """The suite this judgement belongs to."""
        found = self.getparent(Suite)
        assert found is not None
        return found

    @property
    def case(self) -> str:
        """Id of its reference case, with the engine where there are several."""
        assert self.parent is not None
        return self.parent.name

    def setup(self) -> None:
        """Takes the finding; raises where there was nothing to judge by."""
        from leverproof.report.fold import junit_child

        self.reported = self.suite.finding(self.case, self.name)
        self.user_properties.append(("verdict", self.reported.verdict))
        if self.reported.weight != "required":
            self.user_properties.append(("weight", self.reported.weight))
        if junit_child(self.reported) == "error":
            pytest.fail(self._words(self.reported), pytrace=False)

    def runtest(self) -> None:
        """Passes, fails or skips as the finding says."""
        from leverproof.report.fold import junit_child

        assert self.reported is not None
        child = junit_child(self.reported)
        if child == "failure":
            raise FailedJudgementError(self._words(self.reported))
        if child == "skipped":
            pytest.skip(_skip_reason(self.reported))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: object = None) -> str | TerminalRepr:
        """The finding in words; anything that is not a finding keeps its traceback."""
        if isinstance(excinfo.value, FailedJudgementError):
            return str(excinfo.value)
        return super().repr_failure(excinfo)

    def reportinfo(self) -> tuple[Path, None, str]:
        """Where the test stands (nowhere in the user's files) and what it is called."""
        return self.path, None, f"{self.case}: {self.name}"

    def _words(self, finding: Finding) -> str:
        from leverproof.report.fold import deferral_words, repeat_command, with_tolerance
        from leverproof.report.wording import amount, visible

        record = self.suite.record
        assert record is not None
        nothing = not finding.found and finding.number is None
        numbers = {
            "found": finding.found or amount(finding.number, finding.unit),
            "expected": with_tolerance(finding),
            "limit": amount(finding.limit, finding.unit),
            "doubt": f"{amount(finding.w, finding.unit)} (U95)",
        }
        told = {
            "case": f"{finding.case}, {finding.subject}",
            "asked": finding.asked,
            **({"found": "nothing that could be judged"} if nothing else numbers),
            "basis": f"{finding.basis}: {finding.source}",
            "note": finding.note,
            "deferral": deferral_words(finding),
            "loosened": finding.loosened,
            "record": str(record.folder),
            "repeat": repeat_command(record.header, finding.case),
        }
        lines = [f"  {key:<9} {visible(value)}" for key, value in told.items() if value]
        return "\n".join([f"{finding.verdict}: {finding.case}/{finding.judgement}", *lines])


class FailedJudgementError(Exception):
    """A required judgement failed; its text is the finding in words."""


def _selected(patterns: list[str]) -> tuple[ReferenceCase, ...]:
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.errors import LeverproofError

    try:
        return load_catalogue().select(patterns, ())
    except LeverproofError as problem:
        raise _usage_error(problem) from None


def _engines(stand: str | None) -> tuple[tuple[int, ...], int]:
    """The engines that the stand file tests, and how many there are."""
    from leverproof.errors import LeverproofError
    from leverproof.stand.stand_file import read_stand_file

    if stand is None:
        return (1,), 1
    try:
        read = read_stand_file(stand)
    except LeverproofError as problem:
        raise _usage_error(problem) from None
    return read.tested, len(read.engines)


def _check_deferrals(request: RunRequest) -> None:
    """A file that cannot be used is told before anything runs."""
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.judge.deferral_file import read_deferrals

    if request.deferrals is not None:
        for problem in read_deferrals(request.deferrals, request.today, load_catalogue()).problems:
            raise _usage_error(problem)


def _skip_reason(finding: Finding) -> str:
    from leverproof.report.fold import deferral_words, standing
    from leverproof.report.wording import visible

    kind = standing(finding)
    if kind == "self_referential":
        return f"self-referential {finding.verdict}: never counts among the passed"
    words = ": ".join(part for part in (finding.verdict, deferral_words(finding), finding.note) if part)
    return visible(words if finding.weight == "required" else f"advisory, {words}")


def _trouble(record: Record) -> str:
    from leverproof.errors import last_words
    from leverproof.report.fold import notices
    from leverproof.report.wording import visible

    told = [f"error: {record.ending}", *(f"  {visible(notice)}" for notice in notices(record))]
    for event in record.events:
        _, wrote = last_words(str(event.data.get("evidence", "")))
        if wrote:
            told += ["  the model wrote:", *(f"    {visible(line)}" for line in wrote.splitlines()[-10:])]
    return "\n".join(told)


def _usage_error(problem: LeverproofError) -> pytest.UsageError:
    from leverproof.report.wording import visible

    where = f"{problem.where}: " if problem.where else ""
    if where.startswith("--"):
        where = where.replace("--", "--leverproof-", 1)
    advice = f"\n  {problem.hint}" if problem.hint else ""
    return pytest.UsageError(visible(f"leverproof: {where}{problem.message}") + advice)
