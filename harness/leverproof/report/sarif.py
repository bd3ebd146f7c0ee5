"""Defects of case, sheet, stand and deferral files as SARIF 2.1.0, for services and editors that mark them in the text.

What a model did wrong is no place in a file and is not here: other reports tell it. SOURCE: Static Analysis Results
Interchange Format (SARIF) Version 2.1.0, OASIS Standard.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from leverproof import __version__
from leverproof.errors import LeverproofError, StandError
from leverproof.record.reader import Record
from leverproof.report.wording import visible

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
MOST = 5_000
"""Results in a run; at least one service keeps no more."""

RULES = {
    "duplicate": "a name stands twice",
    "missing": "something needed is not there",
    "missing_key": "a key is missing",
    "not_finite": "a number is not finite",
    "range": "a number is out of its range",
    "schema": "the file is not of its schema",
    "syntax": "the file is not TOML",
    "type": "a value is of another kind",
    "unit": "a unit is unknown or of the wrong dimension",
    "unknown_key": "a key is unknown",
    "unknown_word": "a word is unknown",
}
OF_A_MODEL = frozenset({"no_handshake", "version", "protocol", "crash", "hang", "refused"})
_WHERE = re.compile(r"(?P<file>.+?\.toml)(?::(?P<line>\d+))?(?::\s*(?P<key>.*))?", re.DOTALL | re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Defect:
    """One defect of a file: stable word, file ("" where there is none), line (0: the whole file), key, message."""

    code: str
    file: str
    line: int
    key: str
    message: str


def render(record: Record) -> str:
    """The defects of the files that the run of a record read."""
    told = [event.data for event in record.events if event.kind == "problem"]
    code = int(record.footer["exit"]) if record.footer is not None else 4
    return _document([_of(entry) for entry in told if _of_a_file(entry)], code)


def render_error(error: LeverproofError, exit_code: int) -> str:
    """The document where a file could not be used at all, so that there is no record."""
    entry = {"message": error.message, "where": error.where, "hint": error.hint, "code": error.code}
    of_a_file = not isinstance(error, StandError) and _of_a_file(entry)
    return _document([_of(entry)] if of_a_file else [], exit_code, "" if of_a_file else str(error))


def _of_a_file(entry: Mapping[str, Any]) -> bool:
    return bool("code" in entry and entry["code"] not in OF_A_MODEL and _WHERE.fullmatch(str(entry.get("where", ""))))


def _of(entry: Mapping[str, Any]) -> Defect:
    place = _WHERE.fullmatch(str(entry.get("where", "")))
    message, hint = str(entry.get("message", "")), str(entry.get("hint", ""))
    told = f"{message} ({hint})" if hint else message
    code = re.sub(r"[^a-z0-9_]", "_", str(entry.get("code", "")).lower()) or "error"
    if place is None:
        return Defect(code, "", 0, "", told)
    return Defect(code, place["file"], int((place["line"] or "0")[:9]), place["key"] or "", told)


def _document(defects: Sequence[Defect], exit_code: int, trouble: str = "") -> str:
    kept = list(dict.fromkeys(defects))[:MOST]
    rules = list(dict.fromkeys(defect.code for defect in kept))
    notes = list(_notifications(len(defects) - len(kept) if len(defects) > MOST else 0, trouble))
    run: dict[str, Any] = {
        "tool": {"driver": {"name": "leverproof", "version": __version__, "rules": [_rule(code) for code in rules]}},
        "invocations": [
            {
                "executionSuccessful": exit_code in (0, 1, 2, 5) and not trouble,
                "exitCode": exit_code,
                **({"toolExecutionNotifications": notes} if notes else {}),
            }
        ],
        "columnKind": "unicodeCodePoints",
        "results": [_result(defect, rules.index(defect.code)) for defect in kept],
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=1) + "\n"


def _notifications(cut: int, trouble: str) -> Iterator[dict[str, Any]]:
    if cut:
        yield {"level": "warning", "message": {"text": f"{cut:,} further defects are left out: at most {MOST:,}"}}
    if trouble:
        yield {"level": "error", "message": {"text": visible(trouble)}}


def _rule(code: str) -> dict[str, Any]:
    words = RULES.get(code, f"{code.replace('_', ' ')}: a file of the user's is invalid")
    return {"id": code, "shortDescription": {"text": words}, "defaultConfiguration": {"level": "error"}}


def _result(defect: Defect, index: int) -> dict[str, Any]:
    text = f"{defect.key}: {defect.message}" if defect.key else defect.message
    print_of = "\0".join((defect.file, defect.code, defect.key, defect.message))
    out: dict[str, Any] = {
        "ruleId": defect.code,
        "ruleIndex": index,
        "kind": "fail",
        "level": "error",
        "message": {"text": visible(text) or defect.code},
        # Without the line, so that it stays the same defect when something above it is written.
        "partialFingerprints": {"defect/v1": hashlib.sha256(print_of.encode("utf-8", "replace")).hexdigest()[:32]},
    }
    if defect.file:
        place: dict[str, Any] = {"artifactLocation": {"uri": _uri(defect.file)}}
        if defect.line:
            place["region"] = {"startLine": defect.line}
        out["locations"] = [{"physicalLocation": place}]
    return out


def _uri(file: str) -> str:
    """A file as a URI: relative as it was given, else with its scheme."""
    path = Path(file)
    if path.is_absolute():
        return path.as_uri()
    return quote(path.as_posix().encode("utf-8", "replace"), safe="/@-._~")
