"""Opening a record that somebody hands over to be shown."""

from __future__ import annotations

import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

    from leverproof.record.reader import Record


def opened(path: Path) -> Record:
    """The record, or bundle, at ``path``, as :func:`leverproof.record.bundle.open_record` reads it.

    What is not as it was written, such as a finding changed by hand, is shown all the same, because its reader may want
    to see what was changed; a warning on standard error says so. A record that never came to its end says that itself
    in every report."""
    from leverproof.cli.screen import problem_words
    from leverproof.errors import ReproducibilityError
    from leverproof.record.bundle import open_record

    record = open_record(path)
    if record.complete:
        try:
            record.verify()
        except ReproducibilityError as problem:
            print(problem_words(problem).replace("error:", "warning:", 1), file=sys.stderr)
    return record
