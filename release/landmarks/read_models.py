"""MediaPipe's published models: where they live, fetching them, and whether they are whole.

The four files are never part of this package. They come out of the official mediapipe 0.10.21 wheel,
which pip downloads as a file and which is never installed or run, or out of a folder the user names.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

from release.errors import ModelDamaged, ModelsNotFetched
from release.landmarks.result import KINDS

WHEEL = "mediapipe==0.10.21"
MODELS = {
    "hand_landmark_full.tflite": "11c272b891e1a99ab034208e23937a8008388cf11ed2a9d776ed3d01d0ba00e3",
    "palm_detection_full.tflite": "1b14e9422c6ad006cde6581a46c8b90dd573c07ab7f3934b5589e7cea3f89a54",
    "pose_detection.tflite": "9ba9dd3d42efaaba86b4ff0122b06f29c4122e756b329d89dca1e297fd8f866c",
    "pose_landmark_full.tflite": "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
}
OWN_WEIGHTS = Path(__file__).parent / "weights"


def models_folder() -> Path:
    """Where fetched models live: RELEASE_MODELS if set, else the user's data folder."""
    named = os.environ.get("RELEASE_MODELS")
    data = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(named) if named else Path(data) / "release" / "models"


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def fetched_model(name: str) -> Path | None:
    """The path of a fetched model, or None where it has not been fetched.

    Raises:
        ModelDamaged: The file is there, but is not the published one.
    """
    path = models_folder() / name
    if not path.is_file():
        return None
    found = sha256_of(path)
    if found != MODELS[name]:
        raise ModelDamaged(path, found=found, wanted=MODELS[name])
    return path


def fetch_models(source: Path | None = None) -> list[Path]:
    """Put the four models into `models_folder()`, each checked by SHA-256; whole ones stay as they are.

    Args:
        source: A folder that holds the four files, or the wheel; None downloads the wheel with pip.

    Returns:
        The paths of the four models.

    Raises:
        ModelsNotFetched: No network, no such wheel, or a file missing from the folder.
        ModelDamaged: A file is not the published one; nothing of it is kept.
    """
    target = models_folder()
    target.mkdir(parents=True, exist_ok=True)
    if any(not (target / name).is_file() or sha256_of(target / name) != MODELS[name] for name in MODELS):
        with tempfile.TemporaryDirectory(dir=target) as scratch:
            _take(_unpacked(source, Path(scratch)), target)
    return [target / name for name in MODELS]


def _take(found: dict[str, Path], target: Path) -> None:
    for name, wanted in MODELS.items():
        digest = sha256_of(found[name])
        if digest != wanted:
            raise ModelDamaged(found[name], found=digest, wanted=wanted)
    for name, path in found.items():
        whole = target / f"{name}.part"
        shutil.copyfile(path, whole)
        whole.replace(target / name)  # never half a model under the final name


def _unpacked(source: Path | None, scratch: Path) -> dict[str, Path]:
    folder = source or _downloaded(scratch)
    wheels = sorted(folder.glob("mediapipe-0.10.21-*.whl"))
    if wheels:
        with zipfile.ZipFile(wheels[0]) as wheel:
            inside = {n.rsplit("/", 1)[-1]: n for n in wheel.namelist() if n.rsplit("/", 1)[-1] in MODELS}
            for name, entry in inside.items():
                (scratch / name).write_bytes(wheel.read(entry))
        folder = scratch
    missing = [name for name in MODELS if not (folder / name).is_file()]
    if missing:
        raise ModelsNotFetched(f"{folder} has no {', '.join(missing)}")
    return {name: folder / name for name in MODELS}


def _downloaded(scratch: Path) -> Path:
    # The wheel is named for one platform, so that any machine can fetch it: only its data files are used.
    command = [sys.executable, "-m", "pip", "download", WHEEL, "--no-deps", "--only-binary=:all:"]
    command += ["--platform", "manylinux_2_28_x86_64", "--python-version", "3.11", "--implementation", "cp"]
    command += ["--disable-pip-version-check", "--no-input", "--quiet", "--dest", str(scratch)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        reason = (done.stderr.strip().splitlines() or ["pip gave no reason"])[-1]
        raise ModelsNotFetched(f"pip could not download {WHEEL} ({reason})")
    return scratch


def own_weights() -> dict[str, bool]:
    """Whether each of our own weight files is there and is the one its card names, by file name."""
    return {f"{kind}.onnx": _whole(kind) for kind in KINDS}


def _whole(kind: str) -> bool:
    weights, card = OWN_WEIGHTS / f"{kind}.onnx", OWN_WEIGHTS / f"{kind}.json"
    if not weights.is_file() or not card.is_file():
        return False
    return sha256_of(weights) == json.loads(card.read_text(encoding="utf-8"))["sha256"]


def readiness() -> list[tuple[str, bool, str]]:
    """What the tool needs on this machine: the thing, whether it is in order, and the remedy."""
    checks = [
        (f"our model {name}", whole, "" if whole else "install the package again")
        for name, whole in own_weights().items()
    ]
    for name, wanted in MODELS.items():
        path = models_folder() / name
        whole = path.is_file() and sha256_of(path) == wanted
        checks.append((f"second opinion {name}", whole, "" if whole else "run `release models fetch`"))
    return checks
