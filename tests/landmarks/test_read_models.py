import hashlib
import subprocess

import pytest

from release.errors import ModelDamaged, ModelsNotFetched
from release.landmarks import read_models
from release.landmarks.read_models import fetch_models, fetched_model, own_weights


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("RELEASE_MODELS", str(tmp_path / "models"))
    return tmp_path / "models"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Four stand-in files whose hashes are the ones asked for."""
    source = tmp_path / "from"
    source.mkdir()
    wanted = {}
    for name in read_models.MODELS:
        (source / name).write_bytes(name.encode())
        wanted[name] = hashlib.sha256(name.encode()).hexdigest()
    monkeypatch.setattr(read_models, "MODELS", wanted)
    return source


def test_our_own_weights_are_the_ones_their_cards_name():
    assert own_weights() == {f"{kind}.onnx": True for kind in ("hand", "detail", "elbow", "arm")}


def test_models_come_out_of_a_named_folder(home, folder):
    assert [p.name for p in fetch_models(folder)] == list(read_models.MODELS)
    assert fetched_model("pose_detection.tflite") == home / "pose_detection.tflite"


def test_a_damaged_model_is_refused_and_nothing_is_kept(home, folder):
    (folder / "pose_detection.tflite").write_bytes(b"half a file")
    with pytest.raises(ModelDamaged, match="not the published model"):
        fetch_models(folder)
    assert not list(home.glob("*.tflite"))


def test_a_model_damaged_later_is_not_run(home, folder):
    fetch_models(folder)
    (home / "hand_landmark_full.tflite").write_bytes(b"x")
    with pytest.raises(ModelDamaged, match="release models fetch"):
        fetched_model("hand_landmark_full.tflite")


def test_a_folder_without_a_model_is_named(home, folder):
    (folder / "pose_detection.tflite").unlink()
    with pytest.raises(ModelsNotFetched, match=r"has no pose_detection\.tflite"):
        fetch_models(folder)


def test_without_a_network_the_reason_and_the_way_out_are_said(home, folder, monkeypatch):
    failed = subprocess.CompletedProcess([], 1, "", "ERROR: No matching distribution found")
    monkeypatch.setattr(read_models.subprocess, "run", lambda *a, **k: failed)
    with pytest.raises(ModelsNotFetched, match=r"No matching distribution.*--from"):
        fetch_models()


def test_models_never_fetched_are_simply_absent(home):
    assert fetched_model("pose_detection.tflite") is None
