"""Campaigns on a real cluster of two workers: the results are those of local processes, whatever dies meanwhile."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from leverproof.campaign import store
from leverproof.campaign.cluster import AHEAD, Cluster, ClusterError
from leverproof.campaign.flying import Flyer, Lines
from leverproof.campaign.local import Workers
from leverproof.campaign.model import Block, Plan
from leverproof.cli.main import main

from .breaking_plans import ENGINE, flown, plan, times_kept

pytestmark = pytest.mark.filterwarnings("default::DeprecationWarning", "default::ResourceWarning")


def local_cluster(workers: int) -> Any:
    """So many workers of one thread each, in processes of their own that are started again when they die."""
    from distributed import LocalCluster

    return LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50,
        env={"MAY_BE_KILLED": "1"},
    )  # fmt: skip


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A cluster of two workers."""
    with local_cluster(2) as running:
        yield running


def write_plan(folder: Path) -> None:
    """A small campaign in files."""
    spec = importlib.util.spec_from_file_location("campaign_plans", ENGINE.with_name("campaign_plans.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.write_plan(folder)


def locally(asked: Plan, folder: Path) -> str:
    with Workers(Flyer(asked), 2) as workers:
        return flown(asked, workers.run, folder, most_items=3)


def pids(running: Any) -> list[int]:
    return [worker.pid for worker in running.workers.values()]


def flying(worker: int) -> list[int]:
    """The processes in which a worker of the cluster flies."""
    found = []
    for status in Path("/proc").glob("[0-9]*/status"):
        with contextlib.suppress(OSError):
            child = f"PPid:\t{worker}\n" in status.read_text("utf-8", "replace")
            if child and b"spawn_main" in status.with_name("cmdline").read_bytes():
                found.append(int(status.parent.name))
    return found


def test_a_worker_killed_in_mid_run_changes_no_result(cluster: Any, tmp_path: Path) -> None:
    asked = plan(range(0, 12000, 1000), samples=1, pace=0.0004)
    killed: list[int] = []

    def after(done: int) -> None:
        if done == 3:
            victim = pids(cluster)[0]
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

    with Cluster(Flyer(asked), cluster.scheduler_address) as there:
        assert there.jobs == 2
        far = flown(asked, there.run, tmp_path / "far", most_items=2, after=after)
    assert len(killed) == 1
    assert far == locally(asked, tmp_path / "near")
    counted = times_kept(tmp_path / "far")
    assert len(counted) == 24 and set(counted.values()) == {1}
    assert all(row.verdict == "pass" for row in store.outcomes(tmp_path / "far"))


def test_a_model_that_ends_its_process_costs_its_own_case_only(cluster: Any, tmp_path: Path) -> None:
    asked = plan(range(0, 8000, 1000), at=5000.0, how="signal")
    with Cluster(Flyer(asked), cluster.scheduler_address) as there:
        workers = pids(cluster)
        far = flown(asked, there.run, tmp_path / "far", most_items=8)
    assert pids(cluster) == workers
    rows = {row.surroundings["pressure_altitude"]: row for row in store.outcomes(tmp_path / "far")}
    assert [altitude for altitude, row in rows.items() if row.verdict != "pass"] == [5000.0]
    assert rows[5000.0].verdict == "error" and "SIGKILL" in rows[5000.0].trouble
    assert far == locally(asked, tmp_path / "near")


def test_a_model_that_hangs_costs_its_own_case_only(cluster: Any, tmp_path: Path) -> None:
    asked = plan((3000.0, 5000.0, 7000.0), at=5000.0, how="hang")
    with Cluster(Flyer(asked), cluster.scheduler_address) as there:
        flown(asked, there.run, tmp_path / "far", most_items=1)
    rows = {row.surroundings["pressure_altitude"]: row for row in store.outcomes(tmp_path / "far")}
    assert {altitude: row.verdict for altitude, row in rows.items()} == {
        3000.0: "pass",
        5000.0: "error",
        7000.0: "pass",
    }
    assert "did not answer" in rows[5000.0].trouble


def test_a_block_that_loses_every_worker_is_flown_here(
    cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here: list[Block] = []
    fly_here = Cluster._flown_here

    def noted(self: Cluster, block: Block) -> Lines:
        here.append(block)
        return fly_here(self, block)

    monkeypatch.setattr(Cluster, "_flown_here", noted)
    asked = plan(range(0, 6000, 1000), at=5000.0, how="parent")
    with Cluster(Flyer(asked), cluster.scheduler_address) as there:
        far = flown(asked, there.run, tmp_path / "far", most_items=3)
    assert 5000.0 in [item.surroundings["pressure_altitude"] for block in here for item in block.items]
    assert set(times_kept(tmp_path / "far").values()) == {1}
    assert far == locally(asked, tmp_path / "near")


def test_no_more_blocks_are_under_way_than_can_be_flown_soon(cluster: Any, tmp_path: Path) -> None:
    asked = plan(range(0, 20000, 500))
    handed, done = 0, 0

    def counted(blocks: Any) -> Iterator[Block]:
        nonlocal handed
        for block in blocks:
            handed += 1
            assert handed - done <= AHEAD * 2 + 1
            yield block

    with Cluster(Flyer(asked), cluster.scheduler_address) as there:

        def on_done(block: Block, lines: Lines) -> None:
            nonlocal done
            done += 1
            assert len(lines) == len(block.items)

        from leverproof.campaign.expand import blocks

        there.run(counted(blocks(asked, lambda _: True, most_items=1)), on_done)
    assert handed == done == 40


def test_an_interrupt_keeps_what_is_finished_and_leaves_the_cluster_usable(cluster: Any, tmp_path: Path) -> None:
    asked = plan(range(0, 12000, 1000), pace=0.0002)

    def after(done: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with Cluster(Flyer(asked), cluster.scheduler_address) as there:
        with pytest.raises(KeyboardInterrupt):
            flown(asked, there.run, tmp_path / "far", most_items=2, after=after)
        assert len(store.finished(tmp_path / "far")) == 4
        whole = flown(asked, there.run, tmp_path / "far", most_items=2)
        assert any(flying(pid) for pid in pids(cluster))
    assert whole == locally(asked, tmp_path / "near")
    deadline = time.monotonic() + 30.0
    while any(flying(pid) for pid in pids(cluster)):
        assert time.monotonic() < deadline, "a worker still has processes that fly"
        time.sleep(0.05)


def test_a_scheduler_that_goes_away_is_told_and_what_is_finished_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("leverproof.campaign.cluster.CONNECT", 2.0)
    asked = plan(range(0, 12000, 1000), pace=0.0004)
    with local_cluster(1) as short:

        def after(done: int) -> None:
            if done == 2:
                short.close()

        with (
            Cluster(Flyer(asked), short.scheduler_address) as there,
            pytest.raises(ClusterError, match="has gone"),
        ):
            flown(asked, there.run, tmp_path / "far", most_items=1, after=after)
    assert len(store.finished(tmp_path / "far")) == 2


def test_a_worker_with_another_model_is_refused_at_once(cluster: Any) -> None:
    asked = plan([0.0])
    other = replace(asked, models=(replace(asked.models[0], fingerprint="0" * 64),))
    with pytest.raises(ClusterError, match="other files of 'breaking engine'") as told:
        Cluster(Flyer(other), cluster.scheduler_address).__enter__()
    assert "tcp://" in str(told.value)


def test_a_worker_with_another_model_that_comes_later_is_refused_too(tmp_path: Path) -> None:
    engine = tmp_path / "engine.py"
    engine.write_bytes(ENGINE.read_bytes())
    asked = plan(range(0, 20000, 1000), engine=engine, pace=0.0004)
    with local_cluster(1) as running, Cluster(Flyer(asked), running.scheduler_address) as there:

        def after(done: int) -> None:
            if done == 1:
                engine.write_text(engine.read_text("utf-8") + "# changed meanwhile\n", "utf-8")
                os.kill(pids(running)[0], signal.SIGKILL)

        with pytest.raises(ClusterError, match="other files"):
            flown(asked, there.run, tmp_path / "far", most_items=1, after=after)


def test_the_command_flies_a_plan_of_relative_names_on_a_cluster(
    cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    write_plan(Path("p"))
    said = []
    for more in (["--cluster", cluster.scheduler_address, "--parquet", "parquet"], ["--jobs", "1"]):
        assert main(["campaign", "p/plan.toml", "--out", more[0].strip("-"), *more]) == 0
        said.append(capsys.readouterr().out.splitlines()[-1].split()[-1])
    assert said[0] == said[1] and len(said[0]) == 64
    assert len(list(Path("parquet").rglob("*.parquet"))) == 2


def test_a_cluster_without_workers_is_waited_for_and_then_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("leverproof.campaign.cluster.NO_WORKERS", 1.0)
    with local_cluster(0) as empty, pytest.raises(ClusterError, match="no worker, and none came in 1 s") as told:
        Cluster(Flyer(plan([0.0])), empty.scheduler_address).__enter__()
    assert "dask worker" in told.value.hint


def test_an_address_at_which_nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("leverproof.campaign.cluster.CONNECT", 1.0)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        with (
            pytest.raises(ClusterError, match="no scheduler answers") as told,
            Cluster(Flyer(plan([0.0])), address),
        ):
            pass
    assert "dask scheduler" in told.value.hint


@pytest.mark.parametrize("address", ["", "127.0.0.1", "somewhere:8786", "tcp://", "file:///etc/passwd", "inproc://1"])
def test_what_is_no_address(address: str) -> None:
    with pytest.raises(ClusterError, match="no address"), Cluster(Flyer(plan([0.0])), address):
        pass


def test_jobs_and_a_cluster_exclude_each_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["campaign", "plan.toml", "--jobs", "2", "--cluster", "tcp://127.0.0.1:1"]) == 2
    assert "workers of its own" in capsys.readouterr().err


def test_without_the_extra_the_error_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(ClusterError, match="not installed") as told,
        Cluster(Flyer(plan([0.0])), "tcp://127.0.0.1:1"),
    ):
        pass
    assert "leverproof[cluster]" in told.value.hint
