"""Where the shipped reference data (cases, engine sheets, stands, schemas) is found.

A wheel carries the folder inside the package; a checkout and an editable install have it beside the
source root.
"""

from __future__ import annotations

from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path

from leverproof.errors import InputError

_FOLDER = "reference_cases"


def reference_data() -> Traversable:
    """The folder that holds ``cases``, ``sheets``, ``stands`` and ``schemas``; read only.

    Raises :class:`InputError` when the installation carries no reference data at all.
    """
    packaged = files("leverproof").joinpath(_FOLDER)
    if packaged.is_dir():
        return packaged
    beside = Path(__file__).resolve().parents[2] / _FOLDER
    if beside.is_dir():
        return beside
    raise InputError(
        "this installation carries no reference cases",
        str(packaged),
        "install leverproof from its wheel or from a complete checkout",
        "installation",
    )
