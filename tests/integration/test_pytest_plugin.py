"""The pytest plug-in in a project of a user's own: real test runs in a folder that knows nothing of ours."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from junitparser import Error, Failure, JUnitXml, Skipped

from leverproof.record.reader import read_record

MODELS = Path(__file__).resolve().parents[1] / "models"
SECOND = MODELS / "second_engine.stand.toml"
OWN_TEST = "def test_of_the_users_own():\n    assert 1 + 1 == 2\n"

SPOILT_MODEL = '''
"""The second engine with one reading spoilt by the option ``vice``."""
import sys
import warnings

sys.path.insert(0, {models!r})
import second_engine


class Spoilt:
    def __init__(self, options, defect):
        self.vice = options["vice"]
        self.inner = second_engine.factory({{}}, None)

    def hello(self):
        if self.vice == "mute":
            raise RuntimeError("no licence for this model")
        return self.inner.hello()

    def initialise(self, starts, step_ticks, inputs, outputs):
        self.outputs = list(outputs)
        return self.spoil(self.inner.initialise(starts, step_ticks, inputs, outputs))

    def advance(self, lanes, rows):
        if self.vice == "dies":
            raise RuntimeError("the model fell over")
        if self.vice == "warns":
            warnings.warn("a warning of the user's model")
        return self.spoil(self.inner.advance(lanes, rows))

    def spoil(self, reply):
        if self.vice == "slipped" and "ambient_pressure" in self.outputs:
            reply = reply.copy()
            reply[..., self.outputs.index("ambient_pressure")] += 1.0
        return reply

    def reset(self):
        self.inner.reset()

    def close(self):
        if self.vice == "dies at its end":
            raise RuntimeError("the log cannot be written")
        self.inner.close()


factory = Spoilt
'''


class Outcome:
    """What one test run printed, its exit code and its JUnit file."""

    def __init__(self, folder: Path, *options: str, module: str = "-mpytest") -> None:
        # The options of the run that this very test belongs to must not reach the inner one.
        env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST_", "COV_"))}
        argv = [sys.executable, module, "-p", "no:cacheprovider", "--junit-xml=report.xml", *options]
        done = subprocess.run(argv, cwd=folder, env=env, capture_output=True, text=True, timeout=120)
        self.code, self.text = done.returncode, done.stdout + done.stderr
        report = folder / "report.xml"
        self.cases = (
            {case.name: case for suite in JUnitXml.fromfile(str(report)) for case in suite}
            if report.exists()
            else {}
        )

    def child(self, name: str) -> object:
        """The kind of child element of one test, None when it passed."""
        results = self.cases[name].result
        return type(results[0]) if results else None


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "pytest.ini").write_text("[pytest]\nfilterwarnings = error\n", "utf-8")
    (tmp_path / "test_own.py").write_text(OWN_TEST, "utf-8")
    return tmp_path


def spoilt_stand(project: Path, vice: str) -> str:
    (project / "spoilt.py").write_text(SPOILT_MODEL.format(models=str(MODELS)), "utf-8")
    sheet = SECOND.with_name("second_engine.sheet.toml")
    lines = [
        "format = 1",
        'title = "a spoilt engine"',
        'kind = "in_process"',
        'target = "spoilt.py:factory"',
        f"sheet = '{sheet}'",
        "[options]",
        f'vice = "{vice}"',
    ]
    (project / "spoilt.stand.toml").write_text("\n".join(lines) + "\n", "utf-8")
    return "--leverproof-stand=spoilt.stand.toml"


def test_without_an_option_nothing_happens(project: Path) -> None:
    probe = (
        "import sys\ndef test_idle():\n    assert not {'numpy', 'pandas', 'jsonschema'} & set(sys.modules)\n"
    )
    (project / "test_probe.py").write_text(probe, "utf-8")
    outcome = Outcome(project, "-rA")
    assert outcome.code == 0, outcome.text
    assert "leverproof::" not in outcome.text
    assert len(outcome.cases) == 2


def test_loading_the_plug_in_imports_nothing_heavy() -> None:
    heavy = ("numpy", "pandas", "jsonschema", "leverproof.cases", "leverproof.session", "leverproof.record")
    code = f"import leverproof.pytest_plugin, sys; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_honest_engine_passes_beside_the_users_own_tests(project: Path) -> None:
    outcome = Outcome(
        project,
        "-v",
        f"--leverproof-stand={SECOND}",
        "--leverproof-case=idle-speed",
        "--leverproof-case=standard-atmos*",
        "--leverproof-out=kept",
    )
    assert outcome.code == 0, outcome.text
    assert "test_own.py::test_of_the_users_own PASSED" in outcome.text
    assert "leverproof::idle-speed::engine-speed PASSED" in outcome.text
    record = read_record(project / "kept")
    record.verify()
    assert set(record.header["selected"]) == {"idle-speed", "standard-atmosphere"}, "all in one plan"
    judged = {f.judgement for f in record.findings}
    assert judged == set(outcome.cases) - {"test_of_the_users_own"}


def test_a_false_reading_fails_and_says_how_to_see_it_again(project: Path) -> None:
    option = spoilt_stand(project, "slipped")
    outcome = Outcome(project, option, "--leverproof-case=standard-atmosphere", "--leverproof-out=kept")
    assert outcome.code == 1, outcome.text
    finding = next(f for f in read_record(project / "kept").findings if f.verdict == "fail")
    assert outcome.child(finding.judgement) is Failure
    block = outcome.text[outcome.text.index(f"fail: standard-atmosphere/{finding.judgement}") :]
    words = {line.split()[0]: line for line in block.splitlines()[1:11] if line.strip()}
    assert finding.asked in words["asked"]
    assert finding.found in words["found"]
    assert finding.expected.split()[0] in words["expected"]
    assert {"case", "limit", "doubt", "basis"} <= set(words)
    assert "Traceback" not in outcome.text and "pytest_plugin.py" not in block
    _, program, *repeat = shlex.split(words["repeat"])
    assert program == "leverproof"
    main = "import sys; from leverproof.cli.main import main; sys.exit(main())"
    again = subprocess.run(
        [sys.executable, "-c", main, *repeat],
        cwd=project,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert again.returncode == 1
    assert f"standard-atmosphere/{finding.judgement}" in again.stdout


def test_a_model_that_dies_is_an_error_never_a_skip(project: Path) -> None:
    outcome = Outcome(project, spoilt_stand(project, "dies"), "--leverproof-case=idle-speed")
    assert outcome.code == 1, outcome.text
    assert outcome.child("engine-speed") is Error
    assert "error: idle-speed/engine-speed" in outcome.text
    assert "the model fell over" in outcome.text
    assert "nothing that could be judged" in outcome.text
    assert "doubt" not in outcome.text


def test_a_model_that_ends_badly_is_no_success(project: Path) -> None:
    outcome = Outcome(project, spoilt_stand(project, "dies at its end"), "--leverproof-case=idle-speed")
    assert outcome.code == 1, outcome.text
    assert outcome.child("engine-speed") is None, "what was judged stands"
    assert "told to close, the model raised RuntimeError: the log cannot be written" in outcome.text


def test_a_model_without_a_handshake_fails_every_test(project: Path) -> None:
    outcome = Outcome(
        project, spoilt_stand(project, "mute"), "--leverproof-case=idle-speed", "--leverproof-case=cut-off-*"
    )
    assert outcome.code == 1, outcome.text
    ours = set(outcome.cases) - {"test_of_the_users_own"}
    assert len(ours) > 2
    assert {outcome.child(name) for name in ours} == {Error}
    assert "no licence for this model" in outcome.text
    assert "1 passed" in outcome.text


def test_warnings_of_the_model_do_not_become_crashes(project: Path) -> None:
    outcome = Outcome(project, spoilt_stand(project, "warns"), "--leverproof-case=idle-speed")
    assert outcome.code == 0, outcome.text


def test_nothing_judged_is_exit_five(project: Path) -> None:
    outcome = Outcome(project, "-rs", f"--leverproof-stand={SECOND}", "--leverproof-case=turbo-limit-passed")
    assert outcome.code == 5, outcome.text
    ours = set(outcome.cases) - {"test_of_the_users_own"}
    assert {outcome.child(name) for name in ours} == {Skipped}
    assert "hardware.overspeed_protection = governor" in outcome.text


def test_what_never_counts_as_passed_is_skipped(project: Path) -> None:
    """The shipped sheet says that its split-lever advantage was obtained from the embedded engine itself."""
    outcome = Outcome(project, "-rs", "--leverproof-case=split-lever-size", "--leverproof-out=kept")
    findings = read_record(project / "kept").findings
    own = [f for f in findings if f.self_referential and f.verdict in ("pass", "conditional pass")]
    assert own, findings
    assert {outcome.child(f.judgement) for f in own} == {Skipped}
    assert "never counts among the passed" in outcome.text
    advisory = [f for f in findings if f.weight == "advisory"]
    assert all(outcome.child(f.judgement) in (None, Skipped) for f in advisory)


def test_keywords_select_and_only_those_cases_are_conducted(project: Path) -> None:
    outcome = Outcome(project, f"--leverproof-stand={SECOND}", "-k", "idle-speed", "--leverproof-out=kept")
    assert outcome.code == 0, outcome.text
    assert read_record(project / "kept").header["selected"] == ["idle-speed"]


def test_collecting_only_moves_nothing(project: Path) -> None:
    outcome = Outcome(
        project, "--collect-only", "-q", f"--leverproof-stand={SECOND}", "--leverproof-out=kept"
    )
    assert outcome.code == 0, outcome.text
    assert "leverproof::idle-speed::engine-speed" in outcome.text
    assert not (project / "kept").exists()


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("--leverproof-case=idle-sped", ["--leverproof-case", "idle-speed"]),
        ("--leverproof-stand=absent.toml", ["absent.toml"]),
        ("--leverproof-stand=bad.stand.toml", ["bad.stand.toml", "grid_stp", "grid_step"]),
        ("--leverproof-sheet=no-such-sheet", ["no-such-sheet"]),
    ],
)
def test_bad_input_is_a_usage_error_in_words(project: Path, option: str, words: list[str]) -> None:
    text = 'format = 1\ntitle = "x"\nkind = "in_process"\ntarget = "x.py:f"\ngrid_stp = "0.05 s"\n'
    (project / "bad.stand.toml").write_text(text, "utf-8")
    outcome = Outcome(project, option)
    assert outcome.code == pytest.ExitCode.USAGE_ERROR, outcome.text
    assert "Traceback" not in outcome.text
    for word in words:
        assert word in outcome.text


def test_known_deviations_are_skipped_and_told_whatever_passes(project: Path) -> None:
    option = spoilt_stand(project, "slipped")
    deferral = (
        '[[deferral]]\ncase = "standard-atmosphere"\njudgement = "pressure"\nowner = "A. Person"\n'
        'reason = "the vane is being moved"\nlimit = "1.5 inHg"\nexpires = 2999-12-31\n'
    )
    loosening = (
        '[[loosening]]\ncase = "idle-speed"\njudgement = "engine-speed"\ntimes = 2\nowner = "B. Person"\n'
        'reason = "a cold cell"\n'
    )
    (project / "known.toml").write_text(f"format = 1\n{deferral}{loosening}", "utf-8")
    cases = ("--leverproof-case=standard-atmosphere", "--leverproof-case=idle-speed")
    cases = (*cases, "--leverproof-deferrals=known.toml")
    outcome = Outcome(project, "-rs", option, *cases)
    assert "A. Person until 2999-12-31, at most 1.5 inHg off: the vane is being moved" in outcome.text
    assert "standard-atmosphere/pressure: deferred (deferral holds)" in outcome.text
    assert (
        "idle-speed/engine-speed (pass): loosened to 2 times what the case states, by B. Person"
        in outcome.text
    )
    assert outcome.child("pressure") is Skipped
    (project / "known.toml").write_text(
        f"format = 1\n{deferral}".replace("standard-atm", "standart-atm"), "utf-8"
    )
    wrong = Outcome(project, option, *cases)
    assert wrong.code == pytest.ExitCode.USAGE_ERROR
    assert "known.toml:3: deferral[0].case: no case 'standart-atmosphere'" in wrong.text
