"""What the built distributions hold, and what they must not hold."""

from __future__ import annotations

import tarfile
import zipfile
from email import message_from_string
from pathlib import Path, PurePosixPath

import pytest

TEXT = {".py", ".toml", ".json", ".md", ".typed", ".c", ".h", ".mjs", ".pl", ".txt", ".csv", ".xml", ".css", ".js"}


def names(path: Path) -> list[str]:
    if path.suffix == ".whl":
        return zipfile.ZipFile(path).namelist()
    with tarfile.open(path) as archive:
        return [member.name.partition("/")[2] for member in archive if member.isfile()]


@pytest.fixture(params=["wheel", "wheel-from-sdist"])
def wheel(request: pytest.FixtureRequest, distributions: dict[str, Path]) -> Path:
    return distributions[request.param]


def test_top_level_names_are_exactly_two(wheel: Path) -> None:
    tops = {PurePosixPath(name).parts[0] for name in names(wheel)}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"leverproof", "leverproof_adapters"}


def test_reference_data_is_package_data(wheel: Path, source: Path) -> None:
    data = source / "reference_cases"
    expected = {f"leverproof/reference_cases/{p.relative_to(data).as_posix()}" for p in data.rglob("*.*")}
    held = {name for name in names(wheel) if name.startswith("leverproof/reference_cases/")}
    assert len(expected) > 30
    assert held == expected


def test_what_the_html_guide_is_made_of_ships_with_its_licence(wheel: Path) -> None:
    folder = "leverproof/report/html/"
    assert {f"{folder}guide.css", f"{folder}guide.js"} <= set(names(wheel))
    vendored = {"LICENSE", "uPlot.iife.min.js", "uPlot.min.css"}
    assert {f"{folder}vendor/{name}" for name in vendored} <= set(names(wheel))


def test_the_examples_ship_as_text(wheel: Path) -> None:
    folder = "leverproof_adapters/examples/"
    held = {name.removeprefix(folder) for name in names(wheel) if name.startswith(folder)}
    assert {"README.md", "c_engine/main.c", "c_engine/stand.toml", "javascript_engine/main.mjs"} <= held
    assert {"catalogue.toml", "minimal/engine.c", "fmi_unit/modelDescription.xml", "recording/flight.csv"} <= held
    assert {PurePosixPath(name).suffix for name in held} <= TEXT


@pytest.mark.parametrize("kind", ["wheel", "wheel-from-sdist", "sdist"])
def test_nothing_compiled_and_nothing_private_is_shipped(kind: str, distributions: dict[str, Path]) -> None:
    held = [name for name in names(distributions[kind]) if ".dist-info/" not in name]
    plain = {"LICENSE", ".gitignore", "PKG-INFO", "run"}
    odd = [n for n in held if PurePosixPath(n).suffix not in TEXT and PurePosixPath(n).name not in plain]
    odd = [n for n in odd if not (kind == "sdist" and n.startswith("docs/images/") and n.endswith(".png"))]
    assert odd == []
    assert not [n for n in held if "__pycache__" in n or "leverproof-record" in n]


def test_the_sdist_holds_what_the_tests_need(distributions: dict[str, Path]) -> None:
    held = set(names(distributions["sdist"]))
    assert {
        "pyproject.toml",
        "README.md",
        "LICENSE",
        "DEVELOPERS.md",
        ".ci/run",
        "reference_cases/suite.toml",
    } <= held
    assert any(name.startswith("tests/packaging/") for name in held)
    assert any(name.startswith("docs/reference/") for name in held)


def test_metadata_names_licence_python_and_entry_points(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    by_name = {PurePosixPath(n).name: n for n in archive.namelist() if ".dist-info/" in n}
    metadata = message_from_string(archive.read(by_name["METADATA"]).decode())
    assert metadata["Requires-Python"] == ">=3.11"
    assert metadata["License-Expression"] == "Apache-2.0"
    assert "LICENSE" in by_name
    points = archive.read(by_name["entry_points.txt"]).decode()
    assert "leverproof = leverproof.cli.main:main" in points
    assert "leverproof = leverproof.pytest_plugin" in points
    assert "leverproof = leverproof_adapters.shipped:examples" in points
