"""What catches what: flying the seeded defects of the embedded engine, and keeping or reading the results.

A defect of an example model is called ``EXAMPLE:DEFECT``, as in ``twin:mixture-of-one``; where a model has several
engines, a case counts as failed when it failed on one of them.

Results are JSON (``kills.schema.json``). They carry a digest of each case's text, so that a result of a case that has
been changed since is known for what it is.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof import __version__
from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.engine_ids import case_and_engine
from leverproof.engine_stage import Progress
from leverproof.errors import InputError, UsageError, nearest
from leverproof.json_file import parse_json
from leverproof.record.reader import Record, read_record
from leverproof.report.kill_matrix import DefectRun, fired_cases
from leverproof.schema import check
from leverproof.stand.authoring.examples import find_example
from leverproof.stand.stand_file import parse_stand_file
from leverproof.there import is_folder
from leverproof.toml_file import read_text

if TYPE_CHECKING:
    from leverproof.session import RunRequest, SeededDefect

Shown = AbstractContextManager[Progress | None]
MARK = ":"


@dataclass(frozen=True, slots=True)
class Kills:
    """The runs with a defect each, the case texts they were made with (id -> SHA-256 of the text), the seed, and
    where they come from, in words."""

    runs: tuple[DefectRun, ...]
    digests: Mapping[str, str]
    seed: int
    whence: str

    def changed(self, catalogue: Catalogue) -> frozenset[str]:
        """Cases of which ``catalogue`` holds another text, or none, than these results were made with."""
        now = digests_of(catalogue)
        return frozenset(case for case, digest in self.digests.items() if now.get(case) != digest)


def digests_of(catalogue: Catalogue) -> dict[str, str]:
    """SHA-256 of each case's text, by id."""
    return {case: hashlib.sha256(text.encode("utf-8")).hexdigest() for case, text in catalogue.texts.items()}


def fly(
    names: Sequence[str],
    seed: int,
    *,
    command: Sequence[str],
    shown: Callable[[], Shown],
    beside: Sequence[str] = (),
    leave: Path | None = None,
) -> Kills:
    """Runs the whole library once with each named defect (all of the embedded engine when none is named), each on the
    first engine it can be built into, and with those of example models in ``beside``; ``shown`` gives what shows the
    progress of each run; the records stay in the folder ``leave``, as :func:`record_name` calls them. Raises
    :class:`UsageError` for an unknown name."""
    from leverproof.session import run_session

    known = _known_defects()
    asked = [*(names or known), *beside]
    wanted = [_example_defect(name) if MARK in name else _named(known, name) for name in dict.fromkeys(asked)]
    runs: list[DefectRun] = []
    with tempfile.TemporaryDirectory(prefix="leverproof-") as folder:
        for index, (defect, stand) in enumerate(wanted):
            out = Path(folder) / str(index) if leave is None else leave / record_name(defect.name)
            with shown() as progress:
                code = run_session(_request(defect, stand, seed, out, command), progress)
            runs.append(_run(defect, read_record(out), code))
    return Kills(tuple(runs), digests_of(load_catalogue()), seed, "flown now")


def record_name(defect: str) -> str:
    """What the folder with the record of a defect is called among others."""
    return f"defect-{defect.replace(MARK, '-')}"


def _named(known: Mapping[str, SeededDefect], name: str) -> tuple[SeededDefect, str | None]:
    if name not in known:
        raise UsageError(f"no defect {name!r}", "--defect", nearest(name, known), "defect")
    return known[name], None


def _example_defect(name: str) -> tuple[SeededDefect, str | None]:
    """A defect of an example and the stand it is flown on; its cases by their own ids, without an engine's number."""
    from leverproof.session import SeededDefect

    example, _, own = name.partition(MARK)
    path = str(find_example(example).stand)
    stated = parse_stand_file(read_text(path), path).defects
    if own not in stated:
        raise UsageError(f"the example {example} has no defect {own!r}", "--defect", nearest(own, stated), "defect")
    entry = stated[own]
    expected, borderline = (
        tuple(sorted({case_and_engine(case)[0] for case in entry.get(key, ())})) for key in ("fires", "may_fire")
    )
    return SeededDefect(name, entry["size"], entry["reason"], expected, borderline, ()), path


def _request(defect: SeededDefect, stand: str | None, seed: int, out: Path, command: Sequence[str]) -> RunRequest:
    from leverproof.session import RunRequest

    return RunRequest(
        stand=stand,
        sheet=None if stand else defect.variants[0],
        cases=(),
        case_folders=(),
        subjects=(),
        seed=seed,
        out=out,
        defect=defect.name.rpartition(MARK)[2],
        command=tuple(command),
    )


def _run(defect: SeededDefect, record: Record, code: int) -> DefectRun:
    fired = frozenset(case_and_engine(case)[0] for case in fired_cases(record))
    return DefectRun(defect.name, defect.size, frozenset(defect.fires), fired, code, frozenset(defect.may_fire))


def read(path: Path) -> Kills:
    """Results from a file written by :func:`text_of`, or from a folder of records of ``run --defect NAME``.

    What a defect is expected to fail is taken from this build. Raises :class:`InputError` for what is neither, and for
    results that name a defect this build does not have."""
    return _from_records(path) if is_folder(path) else _from_file(path)


def _from_file(path: Path) -> Kills:
    text = read_text(path, what="file of kill results")
    document = parse_json(text, str(path))
    check(document, "kills", str(path))
    known = _known_defects()
    runs = tuple(
        DefectRun(
            entry["name"],
            defect.size,
            frozenset(defect.fires),
            frozenset(entry["fired"]),
            entry["exit"],
            frozenset(defect.may_fire),
        )
        for entry in document["defects"]
        for defect in [_known(known, entry["name"], str(path))]
    )
    whence = f"read from {path.name}, measured with version {document['version']}"
    return Kills(runs, document["cases"], document["seed"], whence)


def _from_records(folder: Path) -> Kills:
    known = _known_defects()
    runs: list[DefectRun] = []
    digests: dict[str, str] = {}
    seed = 1
    for place in sorted(p for p in folder.iterdir() if (p / "record.jsonl").is_file()):
        record = read_record(place)
        name = record.header.get("defect")
        if not name:
            continue
        if not record.complete:
            raise InputError("the run did not end in order", str(place), "make it again", "incomplete")
        runs.append(_run(_known(known, str(name), str(place)), record, int((record.footer or {})["exit"])))
        seed = int(record.header.get("seed", 1))
        digests.update(digests_in(place))
    if not runs:
        raise InputError(
            "no record of a run with a defect in this folder",
            str(folder),
            "make some with leverproof run --defect NAME --out DIR",
            "no_record",
        )
    return Kills(tuple(runs), digests, seed, f"read from {len(runs)} records in {folder.name}")


def digests_in(place: Path) -> dict[str, str]:
    """Digests of the cases a record keeps verbatim; a file's name is the id of its case."""
    kept = (place / "inputs").rglob("*.toml")
    now = load_catalogue().texts
    return {p.stem: hashlib.sha256(p.read_bytes()).hexdigest() for p in kept if p.stem in now}


def _known_defects() -> dict[str, SeededDefect]:
    from leverproof.session import known_defects

    return {defect.name: defect for defect in known_defects()}


def _known(known: Mapping[str, SeededDefect], name: str, where: str) -> SeededDefect:
    if MARK in name:
        return _example_defect(name)[0]
    if name not in known:
        raise InputError(f"this build has no defect {name!r}", where, nearest(name, known), "defect")
    return known[name]


def text_of(kills: Kills) -> str:
    """The results as JSON text, in a fixed order, without date or host: the same results give the same text."""
    document = {
        "format": 1,
        "program": "leverproof",
        "version": __version__,
        "seed": kills.seed,
        "cases": dict(sorted(kills.digests.items())),
        "defects": [
            {"name": run.defect, "exit": run.exit_code, "fired": sorted(run.fired)}
            for run in sorted(kills.runs, key=lambda run: run.defect)
        ],
    }
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"
