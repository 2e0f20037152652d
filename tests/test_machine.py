import importlib.metadata
import os

from release import machine
from release.machine import check_lines, machine_checks


def wrong() -> dict[str, str]:
    return {check.what: check.remedy for check in machine_checks() if not check.ready}


def test_a_machine_is_looked_at_and_what_is_in_order_has_no_remedy():
    checks = machine_checks()
    assert {"one OpenCV", "decoder for hevc", "processes of its own"} <= {check.what for check in checks}
    assert all((check.remedy == "") == check.ready for check in checks)


def test_what_is_wrong_is_named_with_its_remedy(monkeypatch, tmp_path):
    locked = tmp_path / "locked"
    monkeypatch.setattr(machine, "_memory_bytes", lambda: 2_500_000_000)
    monkeypatch.setattr(machine, "CODECS", ("h264", "a codec of tomorrow"))
    monkeypatch.setattr(machine, "models_folder", lambda: locked / "models")
    monkeypatch.setattr(os, "access", lambda folder, _: folder != tmp_path)
    has = importlib.metadata.version
    monkeypatch.setattr(
        importlib.metadata, "version", lambda name: "4.11" if name == "opencv-python" else has(name)
    )
    found = wrong()
    assert found["2.5 GB of memory for 2 clips at once"] == "measure with --workers 1"
    assert "pip install av" in found["decoder for a codec of tomorrow"]
    assert str(tmp_path) in found["models' folder can be written"]
    assert "opencv-python-headless" in found["one OpenCV"]


def test_what_only_some_need_is_told_without_being_wrong(monkeypatch):
    monkeypatch.setattr(machine, "OPTIONAL", {"no_such_module": ("far machines", "install it")})
    (line,) = [line for line in check_lines(machine_checks()) if "far machines" in line]
    assert line == "without  far machines: install it"
