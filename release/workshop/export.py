"""A trained reader as one ONNX file: weights stored in 8 bits or half precision, computed in single.

In:   a checkpoint of `train.py`.
Out:  the reader as ONNX, named as its kind, and beside it a card with hash, training figures and calibration.
"""

import argparse
import hashlib
import json
from pathlib import Path

import numpy as np
import onnx
import torch
from numpy.typing import NDArray
from onnx import NodeProto, TensorProto, helper, numpy_helper

from release.landmarks.result import KINDS, READ_PX, Kind
from release.workshop.losses import (
    DIRECTION_LOG_SD,
    RADIUS_LOG_SD,
    point_precision,
    rotation_from_six,
    turn_precision,
)
from release.workshop.network import Reader, unit
from release.workshop.train import load


class Readable(torch.nn.Module):
    """The reader with its answers in the form in which they are used.

    Few operations, none on the number of pictures: a runtime takes longer to begin one than small ones last.
    """

    def __init__(self, reader: Reader, kind: str) -> None:
        super().__init__()
        self.reader, self.kind = reader, kind

    def forward(self, picture: torch.Tensor) -> tuple[torch.Tensor, ...]:
        out = self.reader(picture)
        direction = unit(out["direction"])
        log_sd = (out["direction_log_sd"] + DIRECTION_LOG_SD).clamp(-6, 1)
        found = [out["points"], point_precision(out["points_chol"]), out["visible"].sigmoid()]
        found += [direction, log_sd.exp()]
        if self.kind == "elbow":
            log_sd = (out["upper_arm_log_sd"] + DIRECTION_LOG_SD).clamp(-6, 1)
            found += [unit(out["upper_arm"]), log_sd.exp()]
        elif self.kind != "arm":
            radius_log_sd = (out["log_radius_log_sd"] + RADIUS_LOG_SD).clamp(-6, 1)
            found += [rotation_from_six(out["palm"]), turn_precision(out["palm_chol"])]
            found += [out["log_radius"].exp(), radius_log_sd.exp(), out["held"].sigmoid(), out["log_zoom"]]
        else:
            found += [out["right"].sigmoid()]
        if self.kind == "hand":
            found += [out["strange"].sigmoid()]
        return (*found, out["present"].sigmoid())


EVERY = ("points", "points_precision", "visible", "direction", "direction_sd")
OF_A_HAND = (*EVERY, "palm", "palm_precision", "radius", "radius_log_sd", "held", "log_zoom")
NAMES = {
    "hand": (*OF_A_HAND, "strange", "present"),
    "detail": (*OF_A_HAND, "present"),
    "elbow": (*EVERY, "upper_arm", "upper_arm_sd", "present"),
    "arm": (*EVERY, "right", "present"),
}


SMALL = 256  # values: up to here a weight stays as it is
LARGE_KERNEL = 10_000  # values; the smaller kernels are a fifteenth of all values, and feel 8 bits the most


def export(checkpoint: Path, kind: Kind, path: Path) -> None:
    """Write one reader as ONNX with its weights stored small."""
    readable = Readable(load(checkpoint, kind), kind).eval()
    picture = torch.zeros(2, 3, READ_PX[kind], READ_PX[kind])
    names = list(NAMES[kind])
    torch.onnx.export(
        readable,
        (picture,),
        path,
        input_names=["picture"],
        output_names=names,
        dynamic_axes={name: {0: "batch"} for name in ("picture", *names)},
        opset_version=17,
        dynamo=False,
    )
    model = onnx.load(path)
    store_small(model)
    onnx.checker.check_model(model)
    onnx.save(model, path)


def store_small(model: onnx.ModelProto) -> None:
    """Put a smaller form of each weight in its place, and the operation that widens it when loaded."""
    graph = model.graph
    for weight in list(graph.initializer):
        values = numpy_helper.to_array(weight)
        if values.dtype != np.float32 or values.size <= SMALL:
            continue
        graph.initializer.remove(weight)
        parts, widen = _stored(weight.name, values)
        graph.initializer.extend(numpy_helper.from_array(part, name) for name, part in parts.items())
        graph.node.insert(0, widen)


def _stored(name: str, values: NDArray[np.float32]) -> tuple[dict[str, NDArray], NodeProto]:
    """The parts of a weight as stored, by name, and the operation that makes it of them.

    Large kernels and the part that tells the strange are stored in 8 bits. In trunk and heads, which nothing
    averages after, 8 bits changed what is read by up to a quarter of its stated uncertainty (D73).
    """
    strange = values.ndim == 2 and name.startswith("reader.strange.")
    if (values.ndim == 4 or strange) and values.size >= LARGE_KERNEL:
        whole, step = in_8_bits(values)
        parts = {f"{name}_int8": whole, f"{name}_step": step}
        return parts, helper.make_node("DequantizeLinear", [*parts], [name], axis=0)
    half = {f"{name}_half": values.astype(np.float16)}
    return half, helper.make_node("Cast", [*half], [name], to=TensorProto.FLOAT)


def in_8_bits(values: NDArray[np.float32]) -> tuple[NDArray[np.int8], NDArray[np.float32]]:
    """Whole numbers -127..127, and for each output channel (first axis) the step that they count."""
    largest = np.abs(values).reshape(len(values), -1).max(axis=1)
    step = np.where(largest > 0, largest / 127, 1).astype(np.float32)
    whole = np.round(values / step.reshape(-1, *[1] * (values.ndim - 1)))
    return whole.clip(-127, 127).astype(np.int8), step


def main() -> None:
    """Parse, export, write the card."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("--checkpoint", type=Path, required=True)
    parser.add_argument("--training", type=Path, required=True, help="the JSON that train.py wrote")
    parser.add_argument("--commit", required=True, help="the commit whose code trained it")
    parser.add_argument("--out", type=Path, required=True, help="folder of the packaged weights")
    args = parser.parse_args()
    path = args.out / f"{args.kind}.onnx"
    export(args.checkpoint, args.kind, path)
    card = {
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "commit": args.commit,
        "training": json.loads(args.training.read_text(encoding="utf-8")),
        "calibration": {},
    }
    path.with_suffix(".json").write_text(json.dumps(card, indent=1) + "\n", encoding="utf-8")
    print(f"{path}: {path.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
