"""Where the example adapters are found: inside the installed package, or beside the source root in a checkout."""

from __future__ import annotations

from pathlib import Path


def examples() -> Path:
    """The folder of the example adapters, whose file ``catalogue.toml`` says what there is; read only."""
    home = Path(__file__).resolve().parent
    packaged = home / "examples"
    return packaged if packaged.is_dir() else home.parent / "examples"
