"""The tool as others install it, and the main job with the network watched."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.system
ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_clips"


def test_a_wheel_is_built_and_works_in_an_environment_of_its_own(tmp_path):
    """Offline: the wheel is ours alone; what it depends on is lent by the environment the tests run in."""
    for part in ("pyproject.toml", "README.md", "LICENSE"):  # building leaves traces where it is done
        shutil.copy(ROOT / part, tmp_path / part)
    shutil.copytree(ROOT / "release", tmp_path / "release")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    wheel = [*pip, "wheel", str(tmp_path), "--no-deps", "--no-build-isolation", "--no-index"]
    subprocess.run([*wheel, "-w", str(tmp_path / "wheels")], check=True)
    (built,) = (tmp_path / "wheels").glob("release-*.whl")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", tmp_path / "env"], check=True)
    (site,) = (tmp_path / "env").glob("lib/python*/site-packages")
    own = ["--target", str(site), "--no-deps", "--no-index", str(built)]
    subprocess.run([*pip, "install", *own], check=True)
    (lent,) = {p for p in sys.path if p.endswith("site-packages")}
    code = "import release.cli as cli; print(cli.__file__, flush=True); cli.main()"
    python = tmp_path / "env" / "bin" / "python"
    done = subprocess.run(
        [python, "-c", code, "look", SAMPLE / "throw_01.mp4"],
        env=os.environ | {"PYTHONPATH": f"{site}:{lent}"},
        cwd=tmp_path / "wheels",
        capture_output=True,
        text=True,
        check=True,
    )
    assert str(site) in done.stdout.splitlines()[0]
    assert "forearm" in done.stdout


def test_the_main_job_tries_no_connection(tmp_path):
    """Every system call that could reach out, of every process it starts; long enough for a late reporter."""
    clips = [str(SAMPLE / f"throw_0{i}.mp4") for i in (1, 2)]
    command = [
        *(str(Path(sys.executable).parent / "release"), "report", *clips),
        *("--sheet", str(SAMPLE / "sheet.csv"), "--flight", str(SAMPLE / "flight.csv")),
        *("--out", str(tmp_path / "report")),
    ]
    log = tmp_path / "calls"
    watch = ["strace", "-f", "-qq", "-e", "trace=connect,sendto,sendmsg,sendmmsg", "-o", str(log)]
    subprocess.run([*watch, *command], check=True, capture_output=True)
    assert (tmp_path / "report" / "index.html").is_file()
    calls = re.findall(r"^.*AF_INET6?.*$", log.read_text(), re.MULTILINE)
    assert not calls
