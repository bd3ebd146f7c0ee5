"""leverproof as a user has it: from a wheel, from a wheel made of the sdist, and from an editable checkout.

Each runs in a folder of the user's own that holds ``adapters``, ``harness`` and ``reference_cases``.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Protocol


class Installed(Protocol):
    """What the fixture of that name offers."""

    kind: str
    bin: Path
    folder: Path

    def run(self, *words: str) -> str: ...

    def python(self, code: str) -> str: ...


def test_the_command_answers_and_finds_every_case(installed: Installed, source: Path) -> None:
    assert "COMMAND" in installed.run("leverproof", "--help")
    listed = [line.split()[0] for line in installed.run("leverproof", "cases").splitlines() if line.strip()]
    files = (source / "reference_cases" / "cases").rglob("*.toml")
    assert sorted(listed) == sorted(tomllib.loads(file.read_text("utf-8"))["id"] for file in files)
    assert "tolerance" in installed.run("leverproof", "cases", "show", "idle-speed").lower()


def test_the_embedded_engine_runs(installed: Installed) -> None:
    installed.run("leverproof", "run", "--case", "standard-atmosphere", "--json", "report.json")
    report = json.loads((installed.folder / "report.json").read_text("utf-8"))
    assert report
    assert (installed.folder / "leverproof-record" / "record.jsonl").is_file()


def test_sheets_and_schemas_are_found(installed: Installed) -> None:
    code = (
        "from leverproof.sheet.loader import load_sheet, shipped_sheets\n"
        "from leverproof.reference_data import reference_data\n"
        "for s in shipped_sheets(): print(load_sheet(s.name.removesuffix('.toml')).id)\n"
        "print((reference_data() / 'schemas' / 'case.schema.json').is_file())"
    )
    families = ["corrie-14", "corrie-18-early", "corrie-18-late", "rill-6", "rill-6t"]
    assert installed.python(code).split() == [*families, "True"]


def test_code_and_data_come_from_the_installation(installed: Installed, source: Path) -> None:
    code = (
        "import leverproof, leverproof_adapters\n"
        "from leverproof.reference_data import reference_data\n"
        "print(leverproof.__file__, leverproof_adapters.__file__, reference_data(), sep='\\n')"
    )
    found = [Path(line) for line in installed.python(code).splitlines()]
    home = source if installed.kind == "editable" else installed.bin.parent
    assert all(path.is_relative_to(home) for path in found), found
    if installed.kind == "editable":
        assert found[2] == source / "reference_cases", "beside the source root"


def test_stands_are_entry_points(installed: Installed) -> None:
    code = (
        "from importlib.metadata import entry_points\n"
        "for p in entry_points(group='leverproof.stands'): p.load(); print(p.name)"
    )
    assert {"in_process", "stdio", "reference_engine"} <= set(installed.python(code).split())


def test_pytest_knows_the_plug_in(installed: Installed) -> None:
    assert "--leverproof-stand" in installed.run("python", "-m", "pytest", "--help")
    (installed.folder / "test_own.py").write_text("def test_own():\n    pass\n", "utf-8")
    words = ("python", "-m", "pytest", "-p", "no:cacheprovider", "-v", "test_own.py")
    out = installed.run(*words, "--leverproof-case=standard-atmosphere", "--leverproof-out=kept")
    assert "leverproof::standard-atmosphere::pressure PASSED" in out


def test_the_examples_are_there_to_copy(installed: Installed) -> None:
    code = (
        "from pathlib import Path\nimport leverproof_adapters\n"
        "here = Path(leverproof_adapters.__file__).parent\n"
        "print(any((p / 'examples' / 'c_engine' / 'main.c').is_file() for p in (here, here.parent)))"
    )
    assert installed.python(code) == "True"


def test_every_example_is_found_and_written(installed: Installed) -> None:
    code = (
        "from leverproof.cli.main import main\n"
        "from leverproof.stand.authoring.examples import installed_examples\n"
        "for n in installed_examples(): print(n, main(['stand', 'new', '--example', n, '--defaults', '--out', n]))"
    )
    endings = dict(re.findall(r"^(\w+) (\d)$", installed.python(code), re.M))
    assert {"c", "javascript", "python", "fmi", "recording"} <= set(endings)
    assert set(endings.values()) == {"0"}
    for name in endings:
        assert list((installed.folder / name).glob("*.sheet.toml"))


def test_an_example_written_from_the_installation_is_shaken_down(installed: Installed) -> None:
    words = ("--example", "object", "--title", "mine", "--defaults", "--out", "mine")
    installed.run("leverproof", "stand", "new", *words)
    out = installed.run("leverproof", "shakedown", "--stand", "mine/mine.stand.toml", "--item", "refusal")
    assert "shaken down" in out.splitlines()[-1] and "not shaken down" not in out
