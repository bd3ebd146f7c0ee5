"""Reading JSON that a file is said to hold, with a failure placed by line and column."""

from __future__ import annotations

import json
from typing import Any

from leverproof.errors import InputError


def parse_json(text: str, where: str) -> Any:
    """The value in ``text``; ``where`` is the file it came from. Raises :class:`InputError` when it is not JSON."""
    try:
        return json.loads(text.removeprefix("\ufeff"))
    except json.JSONDecodeError as reason:
        place = f"{where}:{reason.lineno}:{reason.colno}"
        advice = "name a file that leverproof wrote, or write it again: it may be cut off"
        raise InputError(f"not valid JSON: {reason.msg[:1].lower()}{reason.msg[1:]}", place, advice, "json") from None
    except RecursionError:
        raise InputError("nested too deeply to be read", where, "name a file that leverproof wrote", "json") from None
    except ValueError as reason:
        raise InputError(f"not valid JSON: {reason}", where, "name a file that leverproof wrote", "json") from None
