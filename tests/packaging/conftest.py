"""Built distributions of a copy of this source tree, and clean environments they are installed into.

The environments borrow the third-party packages of the running one by a path line, which makes neither its own
leverproof nor its editable hooks visible; what is under test is installed without its dependencies.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
KINDS = ("wheel", "wheel-from-sdist", "editable")
_LEFT_OUT = (".git", ".venv", "__pycache__", ".*_cache", ".hypothesis", ".benchmarks", "leverproof-record*")
PLANTED = ("adapters/examples/c_engine/corrie_c", "adapters/examples/c_engine/main.o")


def call(argv: list[str], cwd: Path, *, check: bool = True) -> subprocess.CompletedProcess[str]:
    """Runs a program in a folder, with nothing of this test run in its environment."""
    env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "PYTEST_", "PIP_REQUIRE"))}
    done = subprocess.run(argv, cwd=cwd, env=env, capture_output=True, text=True, timeout=300)
    assert not check or done.returncode == 0, f"{argv}\n{done.stdout}\n{done.stderr}"
    return done


@dataclass(frozen=True)
class Environment:
    """An environment with leverproof in it, and a folder of a user's own to work in."""

    kind: str
    bin: Path
    folder: Path

    def run(self, *words: str, check: bool = True) -> str:
        """Standard output of a program of the environment."""
        return call([str(self.bin / words[0]), *words[1:]], self.folder, check=check).stdout

    def python(self, code: str) -> str:
        """What a few lines of Python print there."""
        return self.run("python", "-c", code).strip()


@pytest.fixture(scope="session")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the source tree in which somebody has compiled the C example."""
    folder = tmp_path_factory.mktemp("source") / "tree"
    shutil.copytree(ROOT, folder, ignore=shutil.ignore_patterns(*_LEFT_OUT))
    for name in PLANTED:
        (folder / name).write_bytes(b"\x7fELF compiled")
    return folder


@pytest.fixture(scope="session")
def distributions(source: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """``sdist``, ``wheel`` (built from the tree) and ``wheel-from-sdist``."""
    out = tmp_path_factory.mktemp("dist")
    build = [sys.executable, "-m", "build", "--no-isolation"]
    call([*build, "--wheel", "-o", str(out / "direct"), "."], source)
    call([*build, "-o", str(out / "both"), "."], source)
    return {
        "sdist": next((out / "both").glob("*.tar.gz")),
        "wheel": next((out / "direct").glob("*.whl")),
        "wheel-from-sdist": next((out / "both").glob("*.whl")),
    }


@pytest.fixture(scope="session", params=KINDS)
def installed(
    request: pytest.FixtureRequest,
    source: Path,
    distributions: dict[str, Path],
    tmp_path_factory: pytest.TempPathFactory,
) -> Environment:
    """One environment for each way to install, with a user's own ``adapters`` and ``harness`` in the way."""
    kind = str(request.param)
    base = tmp_path_factory.mktemp(kind)
    venv.create(base / "env", with_pip=False, symlinks=True)
    python = base / "env" / "bin" / "python"
    own = Path(
        call(
            [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], base
        ).stdout.strip()
    )
    (own / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", "utf-8")
    what = ["--no-build-isolation", "-e", str(source)] if kind == "editable" else [str(distributions[kind])]
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--ignore-installed"]
    call([*pip, "--no-deps", "--no-index", *what], base)
    folder = base / "work"
    for name in ("adapters", "harness", "reference_cases"):
        (folder / name).mkdir(parents=True)
        (folder / name / "__init__.py").write_text(
            "raise RuntimeError('the user has this folder')\n", "utf-8"
        )
    return Environment(kind, python.parent, folder)
