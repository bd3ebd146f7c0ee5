"""What cannot be followed is refused before a record is begun, in words that say what to write."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from leverproof.errors import InputError, UsageError
from leverproof.session import RunRequest, run_session

SHEET = Path(__file__).resolve().parents[1] / "models" / "second_engine.sheet.toml"
Stands = Callable[..., Path]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"cases": ("idle-sped",)}, "idle-speed"),
        ({"subjects": ("mixtures",)}, "mixture"),
        ({"sheet": "corrie-18-erly"}, "corrie-18-early"),
        ({"seed": -1}, "--seed"),
        ({"defect": "no-such-defect"}, "no seeded defect"),
        ({"stand": "no-such.stand.toml"}, "no such stand file"),
    ],
)
def test_a_command_that_cannot_be_followed_touches_no_record(
    asked: dict[str, object], words: str, tmp_path: Path
) -> None:
    with pytest.raises((UsageError, InputError), match=words):
        run_session(RunRequest(out=tmp_path / "r", **asked))  # type: ignore[arg-type]
    assert not (tmp_path / "r").exists()


def test_a_stand_without_sheet(tmp_path: Path, in_process: Stands) -> None:
    stand = in_process()
    stand.write_text("\n".join(line for line in stand.read_text().splitlines() if "sheet" not in line))
    with pytest.raises(InputError, match="names no engine sheet"):
        run_session(RunRequest(out=tmp_path / "r", stand=str(stand)))
    asked = RunRequest(out=tmp_path / "r", stand=str(stand), sheet=str(SHEET), cases=("idle-speed",))
    assert run_session(asked) == 0


@pytest.mark.parametrize(
    ("sheet", "near"), [("absent.sheet.toml", "known: "), ("corrie-19", "did you mean 'corrie-1")]
)
def test_a_sheet_that_is_not_there_is_told_of_the_stand_file(
    sheet: str, near: str, tmp_path: Path, in_process: Stands
) -> None:
    stand = in_process()
    lines = [line for line in stand.read_text().splitlines() if not line.startswith("sheet")]
    stand.write_text("\n".join([f'sheet = "{sheet}"', *lines]))
    with pytest.raises(InputError, match=f"no engine sheet '{sheet}'") as caught:
        run_session(RunRequest(out=tmp_path / "r", stand=str(stand)))
    assert caught.value.where == f"{stand}: sheet"
    assert near in caught.value.hint
