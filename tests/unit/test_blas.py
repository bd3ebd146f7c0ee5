"""NumPy is loaded without threads of its own, unless the user has said how many, and leaves no trace of that."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from leverproof.blas import forget, one_thread

OURS = "OPENBLAS_NUM_THREADS"
LOADS = """\
import os, sys
from leverproof.blas import load_numpy
assert "numpy" not in sys.modules
load_numpy()
assert "numpy" in sys.modules
tasks = "/proc/self/task"
print(os.environ.get("OPENBLAS_NUM_THREADS"), len(os.listdir(tasks)) if os.path.isdir(tasks) else 1)
"""


def loaded(environment: dict[str, str]) -> list[str]:
    words = [sys.executable, "-c", LOADS]
    done = subprocess.run(words, env=environment, capture_output=True, text=True, check=True, timeout=60)
    return done.stdout.split()


def test_loading_numpy_starts_no_thread_and_leaves_the_environment_alone() -> None:
    plain = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")}
    assert loaded(plain) == ["None", "1"]


def test_what_the_user_has_said_stands() -> None:
    assert loaded(dict(os.environ) | {OURS: "2"})[0] == "2"


@pytest.mark.parametrize("theirs", ["OPENBLAS_NUM_THREADS", "GOTO_NUM_THREADS", "OMP_NUM_THREADS"])
def test_nothing_is_set_beside_a_setting_of_the_user(theirs: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(theirs, "3")
    before = dict(os.environ)
    with one_thread() as calmed:
        assert not calmed
        assert dict(os.environ) == before


def test_what_is_started_meanwhile_has_it_and_can_take_it_back(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("OPENBLAS_NUM_THREADS", "GOTO_NUM_THREADS", "OMP_NUM_THREADS"):
        monkeypatch.delenv(name, raising=False)
    before = dict(os.environ)
    with pytest.raises(RuntimeError), one_thread() as calmed:
        assert calmed
        assert os.environ[OURS] == "1"
        raise RuntimeError
    assert dict(os.environ) == before
    monkeypatch.setenv(OURS, "1")
    forget()
    assert OURS not in os.environ
