"""The results of a campaign as Parquet partitions, for programs that go through many of them.

Two tables, ``judgements`` (a row for each outcome) and ``readings`` (a row for each reading), each in partitions
``model=.../sheet=.../part-0.parquet``. Rows are in order of the items' ids, whatever order they were flown in. The
schema carries the version of this layout, the unit of each column, the plan and the caution.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from importlib import import_module
from pathlib import Path
from typing import Any
from urllib.parse import quote

from leverproof import CAUTION, __version__
from leverproof.campaign import store
from leverproof.campaign.model import Outcome
from leverproof.channels import CHANNELS, SURROUNDINGS
from leverproof.errors import UsageError

FORMAT = 1
TABLES = ("judgements", "readings")
TOGETHER = 4000
"""Items put in order at once, on average: what has to be held. Assumption: some 50 MB."""
_MOST_PARTS = 200
_LONGEST = 120
_NONE = "__HIVE_DEFAULT_PARTITION__"
_TEXTS = ("case", "subject", "point", "judgement", "what", "weight", "basis", "unit", "verdict", "trouble")
_NUMBERS = ("found", "expected", "low", "high", "doubt", "margin")
_KEPT = ("item", "sample", "self_referential", *_NUMBERS)
_READ = ("case", "subject", "point", "run", "reading")


def write(folder: Path, to: Path) -> int:
    """Writes the results in ``folder`` (that of a campaign) into ``to``, which is new or was written by this before;
    how many items there are. Everything is there at once at the end, or what was there before stays.

    Raises :class:`UsageError` where the extra ``parquet`` is not installed, ``folder`` is none of a campaign or ``to``
    holds something else."""
    pyarrow = _pyarrow()
    told = store.manifest(folder)
    if told is None:
        raise UsageError("this is no folder of a campaign", str(folder), "name the folder that a campaign left")
    _check_place(to)
    beside, before = to.with_name(f"{to.name}.part"), to.with_name(f"{to.name}.before")
    shutil.rmtree(beside, ignore_errors=True)
    try:
        beside.mkdir(parents=True)
        spill = beside / "spill"
        found = _spilled(folder, spill)
        _Tables(pyarrow, found, str(told.get("plan", ""))).write(spill, beside)
        shutil.rmtree(spill)
        if to.exists():
            shutil.rmtree(before, ignore_errors=True)
            to.replace(before)
        beside.replace(to)
    except OSError as reason:
        raise UsageError(f"cannot write there: {reason.strerror or reason}", str(to), "name another folder") from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)
        shutil.rmtree(before, ignore_errors=True)
    return found.items


def check(to: Path, folder: Path) -> None:
    """Raises as :func:`write` would for a missing extra and for ``to``, before anything is flown; and where ``to``
    would lie in ``folder``, which is for results alone."""
    _pyarrow()
    _check_place(to)
    if to.resolve().is_relative_to(folder.resolve()) or not to.absolute().parent.is_dir():
        raise UsageError(
            "cannot write there", f"--parquet {to}", "name a new folder beside that of the results", "output"
        )


def _pyarrow() -> Any:
    try:
        pyarrow = import_module("pyarrow")
        import_module("pyarrow.parquet")
    except ImportError:
        raise UsageError(
            "Parquet files need pyarrow, which is not installed",
            "",
            "install the extra: pip install 'leverproof[parquet]'",
            "missing_extra",
        ) from None
    return pyarrow


def _check_place(to: Path) -> None:
    ours = to.is_dir() and not to.is_symlink() and all(entry.name in TABLES for entry in to.iterdir())
    if (to.exists() or to.is_symlink()) and not ours:
        raise UsageError(
            "there is something else at this place; it was left untouched",
            str(to),
            "name another folder",
            "taken",
        )


class _Found:
    """What the columns have to hold, over all items: names of coefficients and of channels, and how many parts."""

    def __init__(self) -> None:
        self.items = self.parts = 0
        self.coefficients: set[str] = set()
        self.channels: set[str] = set()

    def look(self, outcome: Outcome) -> None:
        self.coefficients |= outcome.coefficients.keys()
        for values in outcome.readings.values():
            self.channels |= values.keys()


def _spilled(folder: Path, spill: Path) -> _Found:
    """Deals the items out by the beginning of their ids, so that each part can be put in order by itself."""
    found = _Found()
    found.items = len(store.finished(folder))
    found.parts = max(1, min(_MOST_PARTS, -(-found.items // TOGETHER)))
    spill.mkdir()
    with ExitStack() as opened:
        files = [opened.enter_context((spill / f"{i}").open("wb")) for i in range(found.parts)]
        for text, line in store.items(folder):
            files[_part(text["item"], found.parts)].write(line)
            for outcome in store.decoded(line) or ():
                found.look(outcome)
    return found


def _part(item: str, parts: int) -> int:
    """Which part an item belongs to; parts are in order of the ids."""
    return int(item[:8].ljust(8, "0"), 16) * parts >> 32


class _Tables:
    """Writes both tables; ``found`` says what columns they have."""

    def __init__(self, pyarrow: Any, found: _Found, plan: str) -> None:
        self._pa, self._found = pyarrow, found
        self._channels = sorted(found.channels | set(SURROUNDINGS))
        about = {"format": str(FORMAT), "version": __version__, "plan": plan, "caution": CAUTION}
        self._about = {f"leverproof.{name}": text for name, text in about.items()}
        self._schemas = {"judgements": self._judgements(), "readings": self._readings()}

    def write(self, spill: Path, to: Path) -> None:
        """Reads the parts one after the other and writes a group of rows of each."""
        for table in TABLES:
            (to / table).mkdir()
        with ExitStack() as opened:
            writers: dict[tuple[str, str, str], Any] = {}
            for number in range(self._found.parts):
                for (table, model, sheet), rows in sorted(self._rows(spill / f"{number}").items()):
                    schema = self._schemas[table]
                    key = (table, model, sheet)
                    if key not in writers:
                        writers[key] = opened.enter_context(self._writer(to, *key))
                    writers[key].write_table(self._pa.Table.from_pylist(rows, schema=schema))

    def _writer(self, to: Path, table: str, model: str, sheet: str) -> Any:
        """A new file of a partition, which also says in full what its folders are named after."""
        place = to / table / partition("model", model) / partition("sheet", sheet)
        place.mkdir(parents=True)
        own = {**self._about, "leverproof.model": model, "leverproof.sheet": sheet}
        schema = self._schemas[table].with_metadata({name: _utf8(text) for name, text in own.items()})
        return self._pa.parquet.ParquetWriter(place / "part-0.parquet", schema)

    def _rows(self, part: Path) -> dict[tuple[str, str, str], list[dict[str, Any]]]:
        """The rows of a part in order of the items, by table, model and sheet."""
        lines = [store.decoded(line) or [] for line in part.read_bytes().splitlines(keepends=True)]
        out: dict[tuple[str, str, str], list[dict[str, Any]]] = {}
        for outcome in (row for rows in sorted(lines, key=_item) for row in rows):
            out.setdefault(("judgements", outcome.model, outcome.sheet), []).append(self._judgement(outcome))
            read = list(self._read(outcome))
            if read:
                out.setdefault(("readings", outcome.model, outcome.sheet), []).extend(read)
        return out

    def _judgement(self, outcome: Outcome) -> dict[str, Any]:
        row: dict[str, Any] = {name: getattr(outcome, name) for name in _KEPT}
        row |= {name: _utf8(getattr(outcome, name)) for name in _TEXTS}
        row |= {name: outcome.surroundings.get(name) for name in SURROUNDINGS}
        return row | self._sampled(outcome)

    def _read(self, outcome: Outcome) -> Iterator[dict[str, Any]]:
        for name, values in outcome.readings.items():
            run, _, reading = name.rpartition("/")
            row: dict[str, Any] = {
                "item": outcome.item,
                "sample": outcome.sample,
                "case": outcome.case,
                "subject": outcome.subject,
            }
            row |= {"point": outcome.point, "run": run, "reading": reading}
            row |= {name: _utf8(row[name]) for name in _READ}
            yield (
                row | self._sampled(outcome) | {c: values.get(c, outcome.surroundings.get(c)) for c in self._channels}
            )

    def _sampled(self, outcome: Outcome) -> dict[str, float | None]:
        return {f"coefficient.{n}": outcome.coefficients.get(n) for n in sorted(self._found.coefficients)}

    def _judgements(self) -> Any:
        numbers = [self._number(name) for name in (*_NUMBERS, *SURROUNDINGS)]
        flag = self._pa.field("self_referential", self._pa.bool_(), nullable=False)
        return self._schema(_TEXTS, [*numbers[: len(_NUMBERS)], flag, *numbers[len(_NUMBERS) :]])

    def _readings(self) -> Any:
        return self._schema(_READ, [self._number(name) for name in self._channels])

    def _schema(self, texts: Sequence[str], more: Iterable[Any]) -> Any:
        pa = self._pa
        first = [
            pa.field("item", pa.string(), nullable=False),
            pa.field("sample", pa.int32(), nullable=False),
        ]
        words = [pa.field(name, pa.string(), nullable=False) for name in texts]
        drawn = [pa.field(f"coefficient.{name}", pa.float64()) for name in sorted(self._found.coefficients)]
        return pa.schema([*first, *words, *more, *drawn], metadata=self._about)

    def _number(self, name: str) -> Any:
        known = CHANNELS.get(name)
        unit = {"unit": known.unit} if known is not None else None
        return self._pa.field(name, self._pa.float64(), metadata=unit)


def _item(rows: Sequence[Outcome]) -> str:
    return rows[0].item if rows else ""


def _utf8(text: str) -> str:
    """The text; halves of characters, which a model may say but no file may hold, as question marks."""
    return text.encode("utf-8", "replace").decode("utf-8")


def partition(key: str, value: str) -> str:
    """The folder of a partition: what is not plain stands as ``%xx`` of its UTF-8, as readers of such folders expect. A
    name that would be too long, or that readers take for none at all, is told by the first digits of its SHA-256."""
    if len(_quoted(value)) > _LONGEST or value in ("", _NONE):
        digits = hashlib.sha256(value.encode("utf-8", "surrogatepass")).hexdigest()[:8]
        while len(_quoted(value)) > _LONGEST - 9:
            value = value[:-1]
        value = f"{value.strip('_')}-{digits}"
    return f"{key}={_quoted(value)}"


def _quoted(value: str) -> str:
    return quote(_utf8(value), safe=" ")
