"""How small an exported reader's weights are stored, and what is left of them. Needs torch."""

import numpy as np
import pytest

from release.landmarks import infer_network
from release.landmarks.read_models import OWN_WEIGHTS
from release.landmarks.result import KINDS

pytestmark = [pytest.mark.system, pytest.mark.filterwarnings("ignore")]


@pytest.mark.parametrize("shape", [(12, 8, 5, 5), (12, 200)], ids=["kernel", "matrix"])
def test_each_weight_comes_back_within_half_a_step_and_each_channels_largest_whole(shape):
    from release.workshop.export import in_8_bits

    rng = np.random.default_rng(2)
    size = 10.0 ** rng.uniform(-5, 5, (12, *[1] * (len(shape) - 1)))
    weights = (size * rng.standard_normal(shape)).astype(np.float32)
    weights[3] = 0
    whole, step = in_8_bits(weights)
    back = whole * step.reshape(size.shape)
    assert whole.dtype == np.int8
    assert (step > 0).all()
    assert (np.abs(back - weights) <= 0.5001 * step.reshape(size.shape)).all()
    rows = np.abs(weights).reshape(12, -1)
    largest = np.arange(12), rows.argmax(axis=1)
    assert np.abs(back).reshape(12, -1)[largest] == pytest.approx(rows[largest], rel=1e-5)
    assert not back[3].any()


def test_large_kernels_and_what_tells_the_strange_are_in_8_bits_and_what_answers_is_not():
    import onnx
    from onnx import numpy_helper

    from release.workshop.export import LARGE_KERNEL

    graph = onnx.load(OWN_WEIGHTS / "hand.onnx").graph
    stored = {weight.name: numpy_helper.to_array(weight) for weight in graph.initializer}
    eight = {name for name, values in stored.items() if values.dtype == np.int8}
    kernels = {name for name, values in stored.items() if values.ndim == 4}
    large = {name for name in kernels if stored[name].size >= LARGE_KERNEL}
    assert len(large) > 20
    assert eight == large | {"reader.strange.1.weight_int8"}


@pytest.mark.parametrize("kind", KINDS)
def test_weights_are_widened_as_the_file_is_loaded_and_not_with_each_picture(kind, tmp_path, monkeypatch):
    import onnx
    import onnxruntime

    began, kept = onnxruntime.InferenceSession, tmp_path / "as_run.onnx"

    def begin(path, options, providers):
        options.optimized_model_filepath = str(kept)
        return began(path, options, providers=providers)

    monkeypatch.setattr(infer_network.onnxruntime, "InferenceSession", begin)
    infer_network._session.__wrapped__(kind)
    run = {node.op_type for node in onnx.load(kept).graph.node}
    stored = {node.op_type for node in onnx.load(OWN_WEIGHTS / f"{kind}.onnx").graph.node}
    widening = {"Cast", "DequantizeLinear"}
    assert widening < stored
    assert "Conv" in run
    assert not {name for name in run if name in widening or "Quant" in name or "QLinear" in name}
