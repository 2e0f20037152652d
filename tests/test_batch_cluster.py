import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from release.batch import measure_many
from release.pipeline import measure_clip
from tests.clip.movies import steady, write_movie
from tests.test_batch import same

pytestmark = pytest.mark.system
THROW = Path("sample_clips")


@pytest.fixture
def cluster(tmp_path):
    """A scheduler and two workers, each a process of its own, on the loopback only."""
    file = tmp_path / "scheduler.json"
    dask = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    log = (tmp_path / "log").open("wb")
    local = ["--host", "127.0.0.1", "--no-dashboard"]
    processes = [subprocess.Popen([*dask, *local, "--port", "0", "--scheduler-file", file], stderr=log)]
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", file]
    for name in ("one", "two"):
        folder = ["--local-directory", str(tmp_path / name), "--nthreads", "1", "--name", name]
        processes.append(subprocess.Popen([*worker, *local, *folder, "--nanny"], stderr=log))
    from distributed import Client

    while not file.exists():
        time.sleep(0.1)
    with Client(scheduler_file=str(file), set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
        yield client
    for process in reversed(processes):
        process.terminate()
    for process in processes:
        process.wait(60)
    log.close()


def test_a_cluster_measures_the_same_to_the_last_digit(cluster, tmp_path):
    clips = [THROW.absolute() / "throw_01.mp4", write_movie(tmp_path / "no_throw.mp4", steady(40))]
    (tmp_path / "empty.mp4").touch()
    address = cluster.scheduler.address
    found = {one.path: one for one in measure_many([*clips, tmp_path / "empty.mp4"], scheduler=address)}
    for path in clips:
        assert same(found[path].measured, measure_clip(path))
    assert "is empty" in found[tmp_path / "empty.mp4"].why


def test_the_clips_of_a_lost_worker_are_measured_again(cluster, tmp_path):
    clips = [write_movie(tmp_path / f"throw_{i}.mp4", steady(60)) for i in range(12)]
    coming = measure_many(clips, scheduler=cluster.scheduler.address)
    found = [next(coming)]
    process = next(iter(cluster.run(os.getpid).values()))
    os.kill(process, signal.SIGKILL)
    found += coming
    assert sorted(one.path for one in found) == sorted(clips)
    assert not [one.why for one in found if one.measured is None]
