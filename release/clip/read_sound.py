"""Read a clip's sound track, for bringing two phones' clocks together."""

from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from release.clip.read import BROKEN, CONTAINERS


def read_sound(path: Path, rate_hz: int) -> NDArray[np.float64]:
    """Mono samples from the clip's beginning at a rate; empty where there is no sound to read.

    A sound track that cannot be decoded is no reason to refuse a clip: its pictures are what counts.
    """
    options = {"format_whitelist": CONTAINERS, "protocol_whitelist": "file"}
    try:
        with av.open(str(path), options=options, metadata_errors="replace") as container:
            if not container.streams.audio:
                return np.zeros(0)
            resampler = av.AudioResampler(format="flt", layout="mono", rate=rate_hz)
            parts = [
                piece.to_ndarray().ravel()
                for frame in container.decode(container.streams.audio[0])
                for piece in resampler.resample(frame)
            ]
    except BROKEN:
        return np.zeros(0)
    return np.concatenate(parts).astype(np.float64) if parts else np.zeros(0)
