"""The pages about baselines: the tutorial does what it says when somebody types it in, and examples are valid."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

from leverproof.baseline.tolerances import parse_tolerances, usual_tolerances
from leverproof.reference_data import reference_data

DOCS = Path(__file__).resolve().parents[2] / "docs"
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(name: str, kind: str) -> list[str]:
    return [text for found, text in BLOCK.findall((DOCS / name).read_text("utf-8")) if found == kind]


def typed(words: str, folder: Path, home: Path) -> subprocess.CompletedProcess[str]:
    """What a shell answers, with leverproof on its path."""
    tools = home / "bin"
    if not tools.exists():
        tools.mkdir()
        program = tools / "leverproof"
        program.write_text(f"#!{sys.executable}\nimport sys\nfrom leverproof.cli.main import main\nsys.exit(main())\n")
        program.chmod(0o755)
    named = {f"GIT_{who}_{what}": "a.person" for who in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")}
    path = os.pathsep.join((str(tools), os.environ["PATH"]))
    environment = os.environ | named | {"PATH": path, "COLUMNS": "120", "HOME": str(home)}
    return subprocess.run(
        ["sh", "-e"], input=words, cwd=folder, env=environment, capture_output=True, text=True, timeout=120
    )


def test_the_tutorial_from_the_page_alone(tmp_path: Path) -> None:
    first, accept, commit, script, job, change, meant = blocks("tutorial/ci-with-a-baseline.md", "sh")
    folder = tmp_path / "engine"
    done = typed(first + accept + commit, tmp_path, tmp_path)
    assert done.returncode == 0, done.stderr
    assert "accepted by A. Person: the first run that passes" in done.stdout
    (folder / "ci.sh").write_text(script, "utf-8")
    done = typed(job, folder, tmp_path)
    assert done.returncode == 0 and "identical: every sample" in done.stdout, done.stderr
    assert "judged: exit 0, held against the baseline: exit 0" in done.stdout
    done = typed(change, folder, tmp_path)
    assert done.returncode == 1
    (told,) = blocks("tutorial/ci-with-a-baseline.md", "text")
    answer, moved = (" ".join(part.split()) for part in told.split("\n\n"))
    said = " ".join(done.stdout.split())
    assert answer.partition(" (")[0] in said and moved in said
    assert "judged: exit 0, held against the baseline: exit 1" in done.stdout
    named = {path.name for path in (folder / "build").iterdir()}
    assert {"findings.xml", "findings.md", "baseline.xml", "baseline.md", "baseline.json", "history.html"} <= named
    done = typed(meant, folder, tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "rated speed from the bench, run 14" in done.stdout and "first engine speed" in " ".join(done.stdout.split())
    assert typed("git status --porcelain", folder, tmp_path).stdout == ""


def test_tolerances_on_the_page_are_valid_and_every_key_is_told() -> None:
    (example,) = blocks("reference/baselines.md", "toml")
    found = parse_tolerances(example, "baselines.md", usual_tolerances())
    assert (found["brake_power"].value, found["brake_power"].time) == (8.0, 1.0)
    schema = json.loads(reference_data().joinpath("schemas", "baseline-tolerances.schema.json").read_text("utf-8"))
    entry = schema["properties"]["channel"]["additionalProperties"]
    page = (DOCS / "reference/baselines.md").read_text("utf-8")
    assert set(entry["properties"]) == {"value", "time", "reason", "source"}
    assert all(f"`{key}`" in page or f"\n{key} = " in page for key in entry["properties"])


def test_every_schema_of_baselines_is_named_on_a_page() -> None:
    pages = "".join((DOCS / "reference" / name).read_text("utf-8") for name in ("baselines.md", "commands.md"))
    names = [entry.name for entry in reference_data().joinpath("schemas").iterdir()]
    own = [name for name in names if name.startswith(("baseline", "discrepancies"))]
    assert len(own) == 7
    assert all(name in pages for name in own)
