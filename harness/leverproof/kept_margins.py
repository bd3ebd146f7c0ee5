"""How sharp the cases were measured to be, kept as JSON (``margins.schema.json``) and read again.

As with kill results, digests of the case texts are kept, so that a margin of a case that has been changed since is
known for what it is. A case is looked for in the catalogue by its id; nothing else of a record is kept.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from leverproof import __version__
from leverproof.cases.catalogue import Catalogue
from leverproof.json_file import parse_json
from leverproof.kills import digests_of
from leverproof.report.ledger import plain_margin
from leverproof.report.margins import Catch, Deviation, Margin
from leverproof.schema import check
from leverproof.toml_file import read_text


@dataclass(frozen=True, slots=True)
class KeptMargins:
    """Margins, the names of the records they were measured from (``honest`` engines and runs with ``defects``), the
    case texts they were made with (id -> SHA-256 of the text), the seed and the version."""

    margins: tuple[Margin, ...]
    honest: tuple[str, ...]
    defects: tuple[str, ...]
    digests: Mapping[str, str]
    seed: int
    version: str

    def changed(self, catalogue: Catalogue) -> tuple[str, ...]:
        """Cases of which ``catalogue`` holds another text, or that it holds beside those measured."""
        now = digests_of(catalogue)
        return tuple(case for case, digest in sorted(now.items()) if self.digests.get(case) != digest)


def kept(
    margins: Sequence[Margin], catalogue: Catalogue, *, honest: Sequence[str], defects: Sequence[str], seed: int
) -> KeptMargins:
    """Margins just measured with the cases of ``catalogue``."""
    return KeptMargins(
        tuple(margins), tuple(sorted(honest)), tuple(sorted(defects)), digests_of(catalogue), seed, __version__
    )


def text_of(found: KeptMargins) -> str:
    """The margins as JSON text, in a fixed order, without date or host."""
    document = {
        "format": 1,
        "program": "leverproof",
        "version": found.version,
        "seed": found.seed,
        "honest": list(found.honest),
        "defects": list(found.defects),
        "cases": dict(sorted(found.digests.items())),
        "margins": [plain_margin(margin) for margin in found.margins],
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read(path: Path) -> KeptMargins:
    """Margins from a file written by :func:`text_of`. Raises :class:`InputError` for anything else."""
    text = read_text(path, what="file of margins")
    document = parse_json(text, str(path))
    check(document, "margins", str(path))
    return KeptMargins(
        tuple(_margin(entry) for entry in document["margins"]),
        tuple(document["honest"]),
        tuple(document["defects"]),
        document["cases"],
        document["seed"],
        document["version"],
    )


def _margin(entry: Mapping[str, Any]) -> Margin:
    weakest = entry["weakest"]
    return Margin(
        entry["case"],
        entry["standing"],
        entry["engines"],
        _deviation(entry["honest"]),
        None
        if weakest is None
        else Catch(
            weakest["defect"], _deviation(weakest["deviation"]), _deviation(weakest["honest"]), weakest["apart"]
        ),
        tuple(entry["in_words"]),
        entry["caught"],
    )


def _deviation(entry: Mapping[str, Any] | None) -> Deviation | None:
    return None if entry is None else Deviation(entry["amount"], entry["scale"], entry["judgement"], entry["of"])
