"""Makes the plants beside these tests importable as ``plants`` (tests are not a package)."""

import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

if "plants" not in sys.modules:
    _spec = spec_from_file_location("plants", Path(__file__).with_name("plants.py"))
    assert _spec is not None
    assert _spec.loader is not None
    sys.modules["plants"] = module_from_spec(_spec)
    _spec.loader.exec_module(sys.modules["plants"])
