import json
from pathlib import Path

import numpy as np
import pytest

from release.errors import ProtractorTableUnreadable
from release.protractor import FIGURES, HOW, held_angles_deg, protractor_lines, write_card

SAMPLES = Path(__file__).parents[1] / "sample_clips"


def test_the_card_is_a_drawing_with_its_scale_line(tmp_path):
    write_card(tmp_path / "card.svg")
    drawing = (tmp_path / "card.svg").read_text(encoding="utf-8")
    for text in ("100 mm", *(f"{name}: {how}" for name, how in HOW.items())):
        assert f"<!-- {text}" in drawing


def stills_at_release(truth, path):
    """A clip that holds one rendered frame, as a held hand would look."""
    import av

    from release.clip.read import read_clip
    from release.frames.decode import decode_every

    at = round(truth["release_frame"]) - 3
    image = decode_every(read_clip(SAMPLES / truth["clip"]), 1, first=at, last=at).images[0]
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=30, options={"crf": "18"})
        stream.width, stream.height, stream.pix_fmt = image.shape[1], image.shape[0], "yuv420p"
        for _ in range(9):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")))
        out.mux(stream.encode())
    frame = next(f for f in truth["frames"] if f["frame"] == at)
    return {n: frame["angles"][n] for n in FIGURES}


def test_rendered_stills_at_known_angles_give_a_table_of_bias_and_scatter(tmp_path):
    rows = ["clip,throws," + ",".join(f"{n}_deg" for n in FIGURES)]
    off = []
    for name in ("throw_03", "throw_31"):
        truth = json.loads((SAMPLES / f"{name}.truth.json").read_text(encoding="utf-8"))
        held = stills_at_release(truth, tmp_path / f"{name}.mp4")
        read = held_angles_deg(tmp_path / f"{name}.mp4", truth["handedness"])
        off.append([read[n] - held[n] for n in FIGURES])
        rows.append(f"{name}.mp4,{truth['handedness']}," + ",".join(f"{held[n]:.2f}" for n in FIGURES))
    (tmp_path / "held.csv").write_text("\n".join(rows), encoding="utf-8")
    last = protractor_lines(tmp_path / "held.csv")[-len(FIGURES) :]
    for line, bias in zip(last, np.mean(off, axis=0), strict=True):
        assert float(line.split()[2]) == pytest.approx(bias, abs=0.1)
    assert np.abs(np.array(off)[:, :2]).max() < 25  # the wrist, far from what an arm can be off


def test_a_table_without_angles_is_refused(tmp_path):
    (tmp_path / "held.csv").write_text("clip\na.mp4\n", encoding="utf-8")
    with pytest.raises(ProtractorTableUnreadable, match="none of the angle columns"):
        protractor_lines(tmp_path / "held.csv")


def test_a_table_as_spreadsheets_write_it_is_read_and_a_row_without_a_number_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(
        "release.protractor.held_angles_deg", lambda clip, throws: dict.fromkeys(FIGURES, 21.0)
    )
    rows = "Clip;throws;Wrist flexion deg\na.mp4;R;20,5\nb.mp4;L;twenty\nc.mp4;;20\n"
    (tmp_path / "held.csv").write_text(rows, encoding="utf-8")
    lines = protractor_lines(tmp_path / "held.csv")
    assert lines[:2] == [
        "row 3 was left out: wrist_flexion_deg 'twenty' is not a number",
        "a.mp4: wrist_flexion held at 20, read 21.0",
    ]
    assert lines[-3].split()[:3] == ["wrist_flexion", "2", "+0.8"]
