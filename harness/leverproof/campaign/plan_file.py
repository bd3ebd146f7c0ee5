"""Reading PLAN.toml: which models, sheets, cases, surroundings and coefficients a campaign goes through.

Reading a plan runs no model. Files it names are beside it. Nothing in it is executed.
"""

from __future__ import annotations

import fnmatch
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from leverproof.campaign.expand import bound, content
from leverproof.campaign.model import Coefficient, Model, Plan, Swept
from leverproof.campaign.plan_values import read_coefficient, read_swept
from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.cases.model import ReferenceCase
from leverproof.errors import InputError, LeverproofError, nearest
from leverproof.judge.facts import STEP_STUDY
from leverproof.record.plain import to_plain
from leverproof.schema import check
from leverproof.sheet.loader import find_sheet, parse_sheet, shipped_sheets
from leverproof.sheet.model import EngineSheet
from leverproof.stand.coefficients import check_coefficients
from leverproof.stand.engine_numbers import chosen
from leverproof.stand.fingerprint import fingerprint
from leverproof.stand.mount import known_defects
from leverproof.stand.port import StandFile
from leverproof.stand.recording_mount import RECORDING
from leverproof.stand.stand_file import parse_stand_file
from leverproof.there import is_file, is_folder
from leverproof.toml_file import KeyPath, parse_toml, place, read_text

FORMAT = 1
EMBEDDED = "reference_engine"
At = Callable[..., str]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A plan and what is wrong with case files beside it, which cost their own cases only."""

    plan: Plan
    problems: tuple[InputError, ...]


def load_plan(path: str) -> Loaded:
    """The plan in a file. Raises :class:`InputError` naming file, line and key for anything that is not so."""
    return parse_plan(read_text(path, what="plan"), path)


def parse_plan(text: str, path: str) -> Loaded:
    """The plan in ``text``, as if it stood in the file ``path``; see :func:`load_plan`."""
    document = parse_toml(text, path)
    check(document, "campaign", path, text=text)

    def at(*keys: str | int) -> str:
        return place(path, keys, text)

    folder = Path(path).parent
    catalogue = _catalogue(document, folder, at)
    cases = _selected(document, catalogue, at)
    swept = _swept(document, cases, at)
    sheets: dict[str, EngineSheet] = {}
    models: list[Model] = []
    for index, entry in enumerate(document["model"]):
        models += _models(entry, ("model", index), document, sheets, folder, at)
    _titled_apart(models, at)
    samples = _samples(document, models, at)
    study = next((case for case in catalogue.cases if case.id == STEP_STUDY), None)
    plan = Plan(
        document["title"],
        int(document.get("seed", 1)),
        tuple(models),
        sheets,
        {case.id: case for case in cases},
        swept,
        samples,
        study,
        path,
        text,
    )
    return Loaded(replace(plan, digest=digest_of(plan)), catalogue.problems)


def digest_of(plan: Plan) -> str:
    """SHA-256 of everything the results depend on: not of how the plan is written, or where its files are."""
    whole = [
        FORMAT,
        plan.seed,
        plan.samples,
        [[m.title, m.fingerprint, m.text, list(m.sheets), to_plain(m.coefficients), m.defect] for m in plan.models],
        sorted([name, sheet.text] for name, sheet in plan.sheets.items()),
        [content(case) for case in plan.cases.values()],
        to_plain(plan.swept),
        content(plan.study) if plan.study is not None else None,
    ]
    return hashlib.sha256(json.dumps(whole).encode("ascii")).hexdigest()


def _catalogue(document: Mapping[str, Any], folder: Path, at: At) -> Catalogue:
    """The cases that may be asked for: of the shipped ones only those whose name fits, where names are given."""
    asked = document.get("cases", {})
    folders = [str(folder / name) for name in asked.get("folders", ())]
    for index, name in enumerate(folders):
        if not is_folder(Path(name)):
            hint = "name a folder that holds case files, as seen from the plan"
            raise InputError(f"{name!r} is not a folder", at("cases", "folders", index), hint, "folder")
    patterns = asked.get("select", ())
    if patterns:
        few = load_catalogue(folders, shipped=lambda name: name == STEP_STUDY or _fits(name, patterns))
        if all(any(_fits(case.id, [pattern]) for case in few.cases) for pattern in patterns):
            return few
    return load_catalogue(folders)


def _fits(name: str, patterns: Iterable[str]) -> bool:
    return any(fnmatch.fnmatchcase(name, pattern) for pattern in patterns)


def _selected(document: Mapping[str, Any], catalogue: Catalogue, at: At) -> tuple[ReferenceCase, ...]:
    asked = document.get("cases", {})
    for key, patterns, subjects in (
        ("select", asked.get("select", ()), ()),
        ("subjects", (), asked.get("subjects", ())),
    ):
        for index in range(len(patterns or subjects)):
            try:
                catalogue.select(patterns[index : index + 1], subjects[index : index + 1])
            except InputError:
                raise
            except LeverproofError as problem:
                if catalogue.problems:
                    # What was meant may be among the files that could not be read.
                    raise catalogue.problems[0] from None
                raise InputError(problem.message, at("cases", key, index), problem.hint, problem.code) from None
    found = catalogue.select(asked.get("select", ()), asked.get("subjects", ()))
    if not found:
        hint = "`leverproof cases` prints ids and subjects; leave one of the two keys out"
        raise InputError("no case is of these subjects and has such an id", at("cases"), hint, "case")
    return found


def _swept(document: Mapping[str, Any], cases: Iterable[ReferenceCase], at: At) -> tuple[Swept, ...]:
    swept = []
    for name, entry in document.get("surroundings", {}).items():
        swept.append(read_swept(name, entry, lambda *keys, name=name: at("surroundings", name, *keys)))
        reasons = {case.id: bound(case, name) for case in cases}
        if all(reasons.values()):
            case, why = next(iter(reasons.items()))
            raise InputError(
                f"no case selected leaves {name} free: {case} {why}",
                at("surroundings", name),
                "a case that sets it itself is flown as it says; leave this out, or select other cases",
                "surroundings",
            )
    return tuple(swept)


def _models(
    entry: Mapping[str, Any],
    key: KeyPath,
    document: Mapping[str, Any],
    sheets: dict[str, EngineSheet],
    folder: Path,
    at: At,
) -> list[Model]:
    """A model for each engine under test of one entry."""
    stand, text = _stand(entry, key, folder, at)
    if stand.kind == RECORDING:
        raise InputError(
            "a recording has been flown already: a campaign needs a model to fly",
            at(*key, "stand"),
            "judge it with `leverproof run --stand`; name the stand file of a model here",
            "recording",
        )
    defect = entry.get("defect")
    known = known_defects(stand) if defect is not None else {}
    if defect is not None and defect not in known:
        raise InputError(f"no seeded defect {defect!r}", at(*key, "defect"), nearest(defect, known), "defect")
    coefficients = _coefficients(entry, key, stand, at)
    own = _sheets(entry, key, document, stand, sheets, folder, at)
    tested = stand.tested
    if "engine" in entry:
        tested = chosen(stand.tested, stand.engines, entry["engine"], at(*key, "engine"))
    title = entry.get("title", stand.title)
    models = []
    for number in tested:
        called = f"{title}, engine {number}" if len(stand.engines) > 1 else title
        one = replace(stand, engine=number, tested=(number,))
        models.append(Model(called, one, text, own, coefficients, print_of(one, text, defect), defect))
    return models


def print_of(stand: StandFile, text: str, defect: str | None) -> str:
    """The fingerprint of a model in a plan: of what it is made of, and which engine of it is meant."""
    return f"{fingerprint(stand, text, defect=defect)['sha256']} {stand.engine}"


def _stand(entry: Mapping[str, Any], key: KeyPath, folder: Path, at: At) -> tuple[StandFile, str]:
    if "embedded" in entry:
        variant = entry["embedded"]
        shipped = {s.name.removesuffix(".toml") for s in shipped_sheets()}
        if variant not in shipped:
            raise InputError(
                f"no embedded engine {variant!r}", at(*key, "embedded"), nearest(variant, shipped), "engine"
            )
        title = f"embedded reference engine, {variant}"
        return StandFile(path="embedded", title=title, kind=EMBEDDED, target=variant, sheet=variant), ""
    path = folder / entry["stand"]
    if not is_file(path):
        raise InputError(
            f"no such stand file {str(path)!r}",
            at(*key, "stand"),
            "a stand file is named as seen from the plan",
            "missing_file",
        )
    text = read_text(path, what="stand file")
    # Whole, because a worker on another machine may stand in another folder.
    return parse_stand_file(text, str(path.absolute())), text


def _sheets(
    entry: Mapping[str, Any],
    key: KeyPath,
    document: Mapping[str, Any],
    stand: StandFile,
    sheets: dict[str, EngineSheet],
    folder: Path,
    at: At,
) -> tuple[str, ...]:
    """The ids of the sheets of a model: its own, else those of the plan, else that of its stand."""
    if "sheets" in entry:
        named = [(name, folder, at(*key, "sheets", i)) for i, name in enumerate(entry["sheets"])]
    elif "sheets" in document:
        named = [(name, folder, at("sheets", i)) for i, name in enumerate(document["sheets"])]
    elif stand.sheet:
        named = [(stand.sheet, Path(stand.path).parent, at(*key))]
    else:
        raise InputError(
            "neither the plan nor the stand names an engine sheet",
            at(*key),
            "add sheets = ['FILE.toml']",
            "missing_key",
        )
    found: list[str] = []
    for name, beside, where in named:
        sheet = _sheet(name, beside, where)
        if sheets.setdefault(sheet.id, sheet).text != sheet.text:
            raise InputError(f"two sheets have the id {sheet.id!r}", where, "give one of them another id", "duplicate")
        if sheet.id not in found:
            found.append(sheet.id)
    return tuple(found)


def _sheet(name: str, folder: Path, where: str) -> EngineSheet:
    shipped = {s.name.removesuffix(".toml") for s in shipped_sheets()}
    beside = folder / name
    if name not in shipped and not is_file(beside):
        raise InputError(
            f"no engine sheet {name!r}",
            where,
            f"a sheet is a file beside, or a shipped id; {nearest(name, shipped)}",
            "sheet",
        )
    return parse_sheet(*find_sheet(name if name in shipped else str(beside)))


def _coefficients(entry: Mapping[str, Any], key: KeyPath, stand: StandFile, at: At) -> tuple[Coefficient, ...]:
    found: list[Coefficient] = []
    for index, told in enumerate(entry.get("coefficient", ())):
        own = (*key, "coefficient", index)
        one = read_coefficient(told, lambda *keys, own=own: at(*own, *keys))
        check_coefficients(stand, [one.name], at(*own, "name"))
        if one.name in (other.name for other in found):
            raise InputError(f"{one.name} is there twice", at(*own, "name"), "name each coefficient once", "duplicate")
        found.append(one)
    return tuple(found)


def _titled_apart(models: Sequence[Model], at: At) -> None:
    titles = [model.title for model in models]
    twice = next((title for title in titles if titles.count(title) > 1), None)
    if twice is not None:
        raise InputError(
            f"two models are called {twice!r}", at("model"), "give each a title of its own in the plan", "duplicate"
        )


def _samples(document: Mapping[str, Any], models: Iterable[Model], at: At) -> int:
    sampled = any(model.coefficients for model in models)
    if sampled and "samples" not in document:
        raise InputError(
            "coefficients are to be sampled, and nothing says how often",
            at(),
            "add for example samples = 100",
            "missing_key",
        )
    if "samples" in document and not sampled:
        raise InputError(
            "there are samples to draw and no model has a coefficient to draw",
            at("samples"),
            "add a [[model.coefficient]], or remove samples",
            "coefficient",
        )
    return int(document.get("samples", 0))
