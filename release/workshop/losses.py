"""What the readers are trained to, and the errors they are judged by.

Each figure with an uncertainty is scored by the likelihood of a Student t with 4 degrees of freedom, so that
a picture nobody could read does not outweigh the rest. At first, before the figures have settled, plain
losses alone pull.
"""

import math

import torch
from torch import Tensor
from torch.nn import functional

from release.workshop.network import picked, rotation_from_six, unit

FREEDOM = 4.0
MAP_SD = 1.3 / 48  # of the target blob of a point's map, share of the side
POINT_LOG_PRECISION = 3.5  # what a zero of the network means: an SD of 3 % of the side
TURN_LOG_PRECISION = 2.0  # 8 degrees
DIRECTION_LOG_SD = -2.0  # 8 degrees
RADIUS_LOG_SD = -2.5  # 8 %
FALSE_ALARMS = 0.02  # share of usual pictures that may be called strange


def t_nll(squared: Tensor, log_det: Tensor, dimensions: int) -> Tensor:
    """Negative log likelihood of a scaled t, constants left out; `log_det` of the precision's factor."""
    return 0.5 * (FREEDOM + dimensions) * torch.log1p(squared / FREEDOM) - log_det


def point_precision(chol: Tensor) -> Tensor:
    """Lower triangle (..., 3) of the precision's Cholesky factor of points, in 1 / side."""
    grown = (chol + POINT_LOG_PRECISION).clamp(-1, 8).exp()
    return torch.cat([grown[..., :1], chol[..., 1:2] * math.exp(POINT_LOG_PRECISION), grown[..., 2:]], -1)


def turn_precision(chol: Tensor) -> Tensor:
    """Lower Cholesky factor (b, 3, 3) of the precision of the palm's small rotation, 1 / rad."""
    diagonal = (chol[:, :3] + TURN_LOG_PRECISION).clamp(-1, 6).exp()
    below = chol[:, 3:] * math.exp(TURN_LOG_PRECISION)  # rows 1 and 2: of columns 0; 0 and 1
    every = functional.pad(torch.cat([diagonal, below], 1), (0, 1))
    return picked(every, 0, 6, 6, 3, 1, 6, 4, 5, 2).reshape(-1, 3, 3)


def rotation_vector(turn: Tensor) -> Tensor:
    """Rotation vectors (b, 3) of matrices (b, 3, 3); finite near half a turn."""
    skew = torch.stack(
        [turn[:, 2, 1] - turn[:, 1, 2], turn[:, 0, 2] - turn[:, 2, 0], turn[:, 1, 0] - turn[:, 0, 1]], 1
    )
    sine = skew.norm(dim=1).clamp(min=1e-6) / 2
    cosine = (turn.diagonal(dim1=1, dim2=2).sum(1) - 1) / 2
    angle = torch.atan2(sine, cosine)
    return skew / (2 * sine)[:, None] * angle[:, None]


def loss(
    out: dict[str, Tensor], labels: dict[str, Tensor], kind: str, *, likelihood: Tensor | float
) -> Tensor:
    """One number to lower, for a batch; `likelihood` weighs the stated uncertainties against plain errors."""
    present, visible = labels["present"], labels["visible"] * labels["present"][:, None]
    inside = ((labels["points"] > 0) & (labels["points"] < 1)).all(-1).float() * visible
    total = _map_loss(out["maps"].float(), labels["points"], inside)
    off = out["points"] - labels["points"]
    total = total + 4 * (off.abs().sum(-1) * inside).sum() / inside.sum().clamp(min=1)
    total = total + 0.3 * functional.binary_cross_entropy_with_logits(out["visible"], inside)
    total = total + 0.3 * functional.binary_cross_entropy_with_logits(out["present"], present)
    direction = unit(out["direction"])
    total = total + 2 * _mean((direction - labels["direction"]).square().sum(1), present)
    if kind == "elbow":
        upper_arm = unit(out["upper_arm"])
        total = total + 2 * _mean((upper_arm - labels["upper_arm"]).square().sum(1), present)
    elif kind != "arm":
        palm = rotation_from_six(out["palm"])
        total = total + 2 * _mean((palm - labels["palm"]).square().sum((1, 2)), present)
        total = total + 0.5 * functional.binary_cross_entropy_with_logits(
            out["held"], labels["held"] * present
        )
        total = total + _mean((out["log_zoom"] - labels["log_zoom"]).abs(), present)
    else:
        total = total + functional.binary_cross_entropy_with_logits(out["right"], labels["right"])
    if kind == "hand":
        total = total + 0.5 * functional.binary_cross_entropy_with_logits(out["strange"], labels["strange"])
    return total + likelihood * _likelihoods(out, labels, kind, inside)


def _likelihoods(
    out: dict[str, Tensor],
    labels: dict[str, Tensor],
    kind: str,
    inside: Tensor,
) -> Tensor:
    present = labels["present"]
    a, b, c = point_precision(out["points_chol"]).unbind(-1)
    off = out["points"] - labels["points"]
    squared = (a * off[..., 0] + b * off[..., 1]).square() + (c * off[..., 1]).square()
    total = _mean(t_nll(squared, a.log() + c.log(), 2), inside)
    for name in ("direction", "upper_arm") if kind == "elbow" else ("direction",):
        log_sd = (out[f"{name}_log_sd"] + DIRECTION_LOG_SD).clamp(-6, 1)
        angle = angle_rad(unit(out[name]), labels[name])
        total = total + _mean(t_nll((angle / log_sd.exp()).square(), -2 * log_sd, 2), present)
    if kind in ("hand", "detail"):
        palm = rotation_from_six(out["palm"])
        turn = rotation_vector(palm @ labels["palm"].transpose(1, 2))
        low = turn_precision(out["palm_chol"])
        z = (low.transpose(1, 2) @ turn[:, :, None])[:, :, 0]
        total = total + _mean(t_nll(z.square().sum(1), low.diagonal(dim1=1, dim2=2).log().sum(1), 3), present)
        log_sd = (out["log_radius_log_sd"] + RADIUS_LOG_SD).clamp(-6, 1)
        off_log = out["log_radius"] - labels["radius"].clamp(min=1e-3).log()
        total = total + _mean(t_nll((off_log / log_sd.exp()).square(), -log_sd, 1), inside[:, -1])
        total = total + 4 * _mean(off_log.abs(), inside[:, -1])
    return total


def _map_loss(maps: Tensor, points: Tensor, inside: Tensor) -> Tensor:
    """Cross-entropy of each point's map against a small blob at the point."""
    rows, columns = maps.shape[2:]
    x = (torch.arange(columns, device=maps.device) + 0.5) / columns
    y = (torch.arange(rows, device=maps.device) + 0.5) / rows
    across = torch.exp(-0.5 * ((x - points[..., :1]) / MAP_SD).square())
    down = torch.exp(-0.5 * ((y - points[..., 1:]) / MAP_SD).square())
    blob = (down[..., :, None] * across[..., None, :]).flatten(2)
    blob = blob / blob.sum(2, keepdim=True).clamp(min=1e-6)
    entropy = -(blob * maps.flatten(2).log_softmax(2)).sum(2)
    return 0.3 * _mean(entropy, inside)


def _mean(values: Tensor, weight: Tensor) -> Tensor:
    return (values * weight).sum() / weight.sum().clamp(min=1)


def angle_rad(a: Tensor, b: Tensor) -> Tensor:
    """Angle between unit vectors (b, 3), with a gradient everywhere."""
    chord = (a - b).norm(dim=1).clamp(1e-6, 1.9999)
    return 2 * torch.asin(chord / 2)


def errors(out: dict[str, Tensor], labels: dict[str, Tensor], kind: str) -> dict[str, Tensor]:
    """Errors of single pictures that show a throwing arm as usual: degrees, shares of the palm, rightness."""
    there = labels["present"] > 0
    here = labels["strange"] == 0 if kind == "hand" else there  # strange is also where nobody is
    inside = (
        ((labels["points"] > 0) & (labels["points"] < 1)).all(-1) & (labels["visible"] > 0) & here[:, None]
    )
    off = (out["points"] - labels["points"]).norm(dim=-1) / labels["palm_size"][:, None]
    nan = torch.full_like(off, math.nan)
    off = torch.where(inside, off, nan)
    direction = unit(out["direction"])
    degrees = torch.rad2deg(angle_rad(direction, labels["direction"]))
    found = {"direction deg": torch.where(here, degrees, nan[:, 0])}
    if kind == "elbow":
        upper_deg = torch.rad2deg(angle_rad(unit(out["upper_arm"]), labels["upper_arm"]))
        found["upper arm deg"] = torch.where(here, upper_deg, nan[:, 0])
        found["elbow palms"], found["wrist palms"] = off[:, 0], off[:, 1]
    elif kind != "arm":
        turn = rotation_vector(rotation_from_six(out["palm"]) @ labels["palm"].transpose(1, 2)).norm(dim=1)
        found["palm deg"] = torch.where(here, torch.rad2deg(turn), nan[:, 0])
        found["wrist and knuckles palms"] = off[:, 1:6].nanmean(1)
        found["elbow palms"], found["ball palms"] = off[:, 0], off[:, 11]
        found["share held right"] = ((out["held"] > 0) == (labels["held"] > 0))[here].float()
    else:
        for k, name in enumerate(("shoulder", "elbow", "wrist")):
            found[f"{name} palms"] = off[:, k]
        found["share side right"] = ((out["right"] > 0) == (labels["right"] > 0))[here].float()
    found["share present right"] = ((out["present"] > 0) == there).float()
    return found


def share_told(logits: Tensor, strange: Tensor) -> Tensor:
    """Share of the strange (b,) pictures whose logits (b,) lie above those of all but 2 % of the others.

    NaN where all or none are strange.
    """
    if strange.all() or not strange.any():
        return torch.tensor(math.nan)
    return (logits[strange] > logits[~strange].quantile(1 - FALSE_ALARMS)).float().mean()
