"""The small convolutional networks: one reads the throwing hand, one a large hand in
detail, one the arm at the elbow, one finds the throwing arm.

All have the same body: inverted residual blocks down to 1/32, gathered back to 1/4, where a map per
point says where it is. Each point's place is the map's centre of mass plus a learnt offset; what the
body knows at that place, and on the whole, feeds one small head that gives everything else.

In:   pictures (batch, 3, side, side), RGB 0..1, encoded as filmed.
Out:  a dict of tensors, see `Reader.forward`. Places are shares of the side, from the outer corner.
Why:  plain convolutions early and depth-wise ones late are quick both on one CPU core and on a GPU.
"""

from functools import cache

import torch
from torch import Tensor, nn
from torch.nn import functional

POINTS = {"hand": 12, "detail": 12, "elbow": 2, "arm": 3}
# What the head gives beside the points, with its width. *_log_sd: natural logarithm, radians or as named.
OF_A_HAND = {
    "palm": 6,  # columns d_h and p before orthonormalisation
    "palm_chol": 6,  # lower triangle of the precision's Cholesky factor, logarithms on the diagonal
    "direction": 3,  # forearm
    "direction_log_sd": 1,
    "log_radius": 1,  # of the ball, share of the side
    "log_radius_log_sd": 1,
    "held": 1,
    "present": 1,
    "log_zoom": 1,  # logarithm of the crop's true width over 0.50 m
}
HEADS = {
    "hand": OF_A_HAND,
    "detail": OF_A_HAND,
    "elbow": {
        "direction": 3,  # forearm
        "direction_log_sd": 1,
        "upper_arm": 3,
        "upper_arm_log_sd": 1,
        "present": 1,
    },
    "arm": {"direction": 3, "direction_log_sd": 1, "right": 1, "present": 1},  # direction: upper arm
}
WIDTHS = (16, 32, 72, 128, 192)
GATHERED = 48
STRANGE_WIDTH = 192


def _conv(inside: int, outside: int, kernel: int = 1, stride: int = 1, groups: int = 1) -> list[nn.Module]:
    conv = nn.Conv2d(inside, outside, kernel, stride, kernel // 2, groups=groups, bias=False)
    return [conv, nn.BatchNorm2d(outside)]


class Block(nn.Module):
    """Inverted residual: widen, look around, narrow; early blocks widen and look in one plain convolution."""

    def __init__(
        self, inside: int, outside: int, *, widen: int, stride: int, plain: bool, kernel: int = 3
    ) -> None:
        super().__init__()
        middle, act = inside * widen, nn.ReLU if plain else nn.Hardswish
        look = (
            [*_conv(inside, middle, kernel, stride), act()]
            if plain
            else [*_conv(inside, middle), act(), *_conv(middle, middle, kernel, stride, groups=middle), act()]
        )
        self.layers = nn.Sequential(*look, *_conv(middle, outside))
        self.residual = stride == 1 and inside == outside

    def forward(self, x: Tensor) -> Tensor:
        return x + self.layers(x) if self.residual else self.layers(x)


def _stage(
    inside: int, outside: int, blocks: int, *, widen: int, plain: bool = False, kernel: int = 3
) -> nn.Sequential:
    first = Block(inside, outside, widen=widen, stride=2, plain=plain, kernel=kernel)
    then = 1 if plain else widen  # plain convolutions on the largest maps are most of the cost
    rest = [
        Block(outside, outside, widen=then, stride=1, plain=plain, kernel=kernel) for _ in range(blocks - 1)
    ]
    return nn.Sequential(first, *rest)


class Reader(nn.Module):
    """Reads points, directions and whether things are there off one picture."""

    def __init__(self, kind: str) -> None:
        super().__init__()
        self.points, self.heads = POINTS[kind], HEADS[kind]
        w = WIDTHS
        self.stem = nn.Sequential(*_conv(3, w[0], 3, 2), nn.ReLU())
        self.stages = nn.ModuleList(
            [
                _stage(w[0], w[1], 2, widen=2, plain=True),
                _stage(w[1], w[2], 3, widen=4, kernel=5),
                _stage(w[2], w[3], 4, widen=4),
                _stage(w[3], w[4], 3, widen=4, kernel=5),
            ]
        )
        self.lateral = nn.ModuleList([nn.Sequential(*_conv(width, GATHERED)) for width in w[1:]])
        self.smooth = nn.ModuleList(
            [
                nn.Sequential(
                    *_conv(GATHERED, GATHERED, 5, groups=GATHERED), *_conv(GATHERED, GATHERED), nn.ReLU()
                )
                for _ in w[1:-1]
            ]
        )
        self.maps = nn.Conv2d(GATHERED, self.points, 1)
        known = w[4] + self.points * (GATHERED + 5)
        self.trunk = nn.Sequential(nn.Linear(known, 320), nn.ReLU(), nn.Linear(320, 256), nn.ReLU())
        self.point_head = nn.Linear(256, self.points * 6)  # offset 2, Cholesky 3, visible 1
        self.other_head = nn.Linear(256, sum(self.heads.values()))
        nn.init.normal_(self.point_head.weight, std=1e-3)
        # Whether a picture is unlike a throwing hand as they are: from what each level sees on the whole, the
        # finest at each point too, and how much that varies, since rain, dirt and gloss show there. It learns
        # from the features and never changes them, so that nothing is read the worse for it.
        seen = known + 2 * (sum(w[1:]) + self.points * w[1])
        self.strange = None
        if kind == "hand":
            self.strange = nn.Sequential(
                nn.BatchNorm1d(seen), nn.Linear(seen, STRANGE_WIDTH), nn.ReLU(), nn.Linear(STRANGE_WIDTH, 1)
            )

    def forward(self, picture: Tensor) -> dict[str, Tensor]:
        """Read a batch of pictures.

        Returns:
            points (b, n, 2); points_chol (b, n, 3), lower triangle of the precision's Cholesky factor in
            1 / side, logarithms on the diagonal; visible (b, n) logits; maps (b, n, side/4, side/4) logits;
            one tensor a head of `HEADS`, (b, width), single ones squeezed; and for hands strange (b,) logits,
            not what a throwing hand looks like in training, though one may be there.
        """
        levels, x = [], self.stem(picture * 4 - 2)
        for stage in self.stages:
            x = stage(x)
            levels.append(x)
        x = self.lateral[-1](levels[-1])
        for level in (2, 1, 0):
            up = functional.interpolate(x, scale_factor=2.0, mode="nearest")
            x = self.smooth[level](self.lateral[level](levels[level]) + up)
        maps = self.maps(x)
        weight = _in_a_row(maps).softmax(2)
        # Half precision knows a place to half a pixel only, and no small spread.
        with torch.autocast(picture.device.type, enabled=False):
            place, spread = _moments(weight, int(maps.shape[2]), int(maps.shape[3]))
            looks = None if self.strange is None else _looks(levels, weight)
        seen = weight @ _in_a_row(x).transpose(1, 2)
        features = _mean(levels[-1]).float()
        inside = torch.cat([features, place.flatten(1) - 0.5, spread.flatten(1), seen.flatten(1)], 1)
        known = self.trunk(inside)
        per_point = self.point_head(known).float().reshape(-1, self.points, 6)
        other = self.other_head(known).float().split(list(self.heads.values()), 1)
        told = {}
        if self.strange is not None and looks is not None:
            told = {"strange": self.strange(torch.cat([inside.detach(), looks], 1))[:, 0].float()}
        return {
            "points": place + per_point[..., :2],
            "points_chol": per_point[..., 2:5],
            "visible": per_point[..., 5],
            "maps": maps,
            **{n: t[:, 0] if t.shape[1] == 1 else t for n, t in zip(self.heads, other, strict=True)},
            **told,
        }


def _looks(levels: list[Tensor], weight: Tensor) -> Tensor:
    """Mean and spread of each channel of each level, in the finest at each point too; (b, channels)."""
    levels, weight = [level.detach().float() for level in levels], weight.detach()
    finest = _in_a_row(levels[0]).transpose(1, 2)
    means = [*(_mean(level) for level in levels), (weight @ finest).flatten(1)]
    squares = [*(_mean(level * level) for level in levels), (weight @ (finest * finest)).flatten(1)]
    spreads = [(s - m * m).clamp(min=1e-6).sqrt() for m, s in zip(means, squares, strict=True)]
    return torch.cat([*means, *spreads], 1)


def _mean(features: Tensor) -> Tensor:
    """Of each channel, (b, channels); a pooling, which a runtime does in the layout that it convolves in."""
    return functional.adaptive_avg_pool2d(features, 1).flatten(1)


def _in_a_row(features: Tensor) -> Tensor:
    """Maps (b, channels, rows, columns) place by place, (b, channels, rows * columns)."""
    channels, rows, columns = (int(n) for n in features.shape[1:])
    return features.float().reshape(-1, channels, rows * columns)


def _moments(weight: Tensor, rows: int, columns: int) -> tuple[Tensor, Tensor]:
    """Centre of mass (b, n, 2) of each map, and its spread (b, n, 3)."""
    x = ((torch.arange(columns, device=weight.device) + 0.5) / columns).repeat(rows)
    y = ((torch.arange(rows, device=weight.device) + 0.5) / rows).repeat_interleave(columns)
    moments = weight @ torch.stack([x, y, x * x, y * y, x * y], 1)
    place = moments[..., :2]
    spread = moments[..., 2:] - picked(place, 0, 1, 0) * picked(place, 0, 1, 1)
    return place, spread * 10


def picked(values: Tensor, *which: int) -> Tensor:
    """Some of the last axis's values, in this order."""
    return values.index_select(-1, _order(values.device, which))


@cache
def _order(device: torch.device, which: tuple[int, ...]) -> Tensor:
    """Kept on the device: a step that is being recorded can bring nothing there."""
    return torch.tensor(which, device=device)


def rotation_from_six(six: Tensor) -> Tensor:
    """Rotation matrices (b, 3, 3) with columns r_h, d_h, p from two loose columns d_h, p (b, 6).

    Gram-Schmidt as in Zhou et al. (2019), CVPR, "On the continuity of rotation representations".
    """
    d_h, p = unit(six[:, :3]), six[:, 3:]
    p = unit(p - (p * d_h).sum(1, keepdim=True) * d_h)
    r_h = picked(d_h, 1, 2, 0) * picked(p, 2, 0, 1) - picked(d_h, 2, 0, 1) * picked(p, 1, 2, 0)
    return torch.stack([r_h, d_h, p], 2)


def unit(vectors: Tensor) -> Tensor:
    """Vectors (b, n) of length one."""
    return vectors / vectors.norm(dim=1, keepdim=True).clamp(min=1e-12)
