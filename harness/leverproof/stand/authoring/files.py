"""What `stand new` writes, all of it or nothing: stand file, sheet, and the example adapter's text."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from leverproof.errors import UsageError
from leverproof.sheet.loader import find_sheet, load_sheet, parse_sheet, shipped_sheets
from leverproof.sheet.model import EngineSheet
from leverproof.stand.authoring.draft import stand_text
from leverproof.stand.authoring.examples import Example
from leverproof.stand.authoring.questions import COPY
from leverproof.stand.port import StandFile
from leverproof.stand.stand_file import parse_stand_file
from leverproof.toml_file import read_text

_KIN = {"geared_one_speed": "geared_two_speed"}
"""The arrangement whose shipped sheet is nearest, where none of the same is shipped."""


@dataclass(frozen=True, slots=True)
class Draft:
    """What is to be written: the stand as the loader reads it, every file's text by its path, and what the author
    should know of them."""

    stand: StandFile
    files: Mapping[Path, str]
    remarks: tuple[str, ...] = ()


def draft(answers: Mapping[str, Any], folder: Path, example: Example | None = None) -> Draft:
    """The files of a stand with these answers, in ``folder``; nothing is written.

    Raises :class:`InputError` for what the loaders of stand files and sheets do not accept, and :class:`UsageError`
    for a sheet that is not there.
    """
    slug = _slug(answers["title"])
    files: dict[Path, str] = {}
    remarks: tuple[str, ...] = ()
    values = dict(answers)
    if values["sheet"] == COPY:
        values["sheet"] = f"{slug}.sheet.toml"
        text = _copied_sheet(values["arrangement"], slug)
        remarks = _levers(parse_sheet(text, values["sheet"]), answers["lever"])
        files[folder / values["sheet"]] = text
    elif example is None:
        _there(values["sheet"], folder)
    for name, source in (example.files if example else {}).items():
        files[folder / name] = read_text(str(source))
    path = folder / f"{slug}.stand.toml"
    text = stand_text(values, name=path.name)
    stand = parse_stand_file(text, str(path))
    return Draft(stand, {path: text, **files}, remarks)


def _levers(sheet: EngineSheet, named: Mapping[str, object]) -> tuple[str, ...]:
    """Where the levers of a copied sheet and those the author named differ; nothing when none was named."""
    if not named:
        return ()
    out = []
    if spare := [name for name in sheet.levers if name not in named]:
        out.append(f"the sheet has {', '.join(spare)}, the model was not said to: remove [levers.{spare[0]}] etc.")
    if lacking := [name for name in named if name not in sheet.levers]:
        out.append(f"the model has {', '.join(lacking)}, the sheet does not: add [levers.{lacking[0]}] etc.")
    return tuple(out)


def _slug(title: str) -> str:
    return "-".join(re.findall(r"[a-z0-9]+", title.casefold())) or "my-engine"


def _there(sheet: str, folder: Path) -> None:
    shipped = {item.name.removesuffix(".toml") for item in shipped_sheets()}
    if sheet not in shipped and not (folder / sheet).is_file():
        raise UsageError(
            f"no sheet {sheet!r}",
            "--sheet",
            f"one of {', '.join(sorted(shipped))}, a file beside the stand file, or {COPY}",
            "sheet",
        )


def nearest_sheet(arrangement: str) -> str:
    """The id of the shipped sheet whose arrangement is the same, or the most alike."""
    shipped = [load_sheet(item.name.removesuffix(".toml")) for item in shipped_sheets()]
    for wanted in (arrangement, _KIN.get(arrangement, "")):
        for sheet in shipped:
            if sheet.word("hardware.arrangement") == wanted:
                return sheet.id
    raise UsageError(f"no shipped sheet is like {arrangement!r}", "--sheet", "name one", "sheet")


def _copied_sheet(arrangement: str, name: str) -> str:
    source = nearest_sheet(arrangement)
    text, _ = find_sheet(source)
    text = re.sub(r'^id = "[^"]*"', f'id = "{name}"', text, count=1, flags=re.M)
    return (
        f"# Copied from the shipped sheet {source}, an invented engine. Until you change them, every number and every\n"
        "# source below is that engine's, not yours. A datum taken from your model gets from_model = true.\n"
        f"{text}"
    )


def write(planned: Draft) -> list[Path]:
    """Writes every file of a draft, and their folder where it is missing; their paths, the stand file first.

    Raises :class:`UsageError` before anything is written when one of them is there already, and when one cannot be
    written.
    """
    there = [path for path in planned.files if path.exists() or path.is_symlink()]
    if there:
        raise UsageError(
            f"{', '.join(path.name for path in there)}: there already, nothing was written",
            str(there[0].parent),
            "name another folder with --out, or another title with --title",
            "exists",
        )
    for path, text in planned.files.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8", newline="\n") as out:
                out.write(text)
        except OSError as reason:
            raise UsageError(
                f"cannot be written: {reason.strerror or reason}",
                str(path),
                "name another folder with --out",
                "output",
            ) from None
    return list(planned.files)
