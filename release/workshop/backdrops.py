"""Backdrops, things in front, and nothing else: drawn from noise, lines and patches, never filmed.

In:   a count, a side in pixels and a random generator.
Out:  banks of pictures in linear light, stored square-root coded as uint8, channels first.
Why:  drawn on the training device once, then cropped, turned and recoloured for every batch.
"""

import math
from random import Random

import torch
from torch import Generator, Tensor
from torch.nn import functional

CHUNK = 128


class Draw:
    """Random numbers on one device from one generator; `host` draws what decides the shape of the work."""

    def __init__(
        self, generator: Generator, dtype: torch.dtype = torch.float32, host: Random | None = None
    ) -> None:
        self.generator, self.device, self.dtype = generator, generator.device, dtype
        self.host = host or Random(generator.initial_seed())

    def coarse(self) -> "Draw":
        """The same stream as half-precision numbers, for pixels; as it is on a CPU, slow at those."""
        return self if self.device.type == "cpu" else Draw(self.generator, torch.float16, self.host)

    def uniform(self, *shape: int, low: float = 0.0, high: float = 1.0) -> Tensor:
        drawn = torch.rand(shape, generator=self.generator, device=self.device, dtype=self.dtype)
        return drawn * (high - low) + low

    def normal(self, *shape: int) -> Tensor:
        return torch.randn(shape, generator=self.generator, device=self.device, dtype=self.dtype)

    def chance(self, *shape: int, of: float) -> Tensor:
        drawn = torch.rand(shape, generator=self.generator, device=self.device)
        return (drawn < of).to(self.dtype)

    def index(self, count: int, below: int) -> Tensor:
        return torch.randint(below, (count,), generator=self.generator, device=self.device)


def noise(draw: Draw, count: int, channels: int, side: int) -> Tensor:
    """Noise of many scales with a random steepness, about 0..1, shape (count, channels, side, side)."""
    total = torch.zeros(count, channels, side, side, device=draw.device)
    falloff = draw.uniform(count, 1, 1, 1, low=0.25, high=0.95)
    strength = torch.ones_like(falloff)
    cells = 2
    while cells <= side:
        grid = draw.normal(count, channels, cells, cells)
        total += strength * functional.interpolate(grid, (side, side), mode="bilinear", align_corners=False)
        strength, cells = strength * falloff, cells * 2
    total /= total.std((1, 2, 3), keepdim=True) + 1e-6
    return (0.5 + 0.25 * total).clamp(0, 1)


def colours(draw: Draw, count: int) -> Tensor:
    """Random surface colours in linear light, mostly dull, shape (count, 3, 1, 1)."""
    level = torch.exp(draw.uniform(count, 1, 1, 1, low=math.log(0.02), high=math.log(0.9)))
    tint = 1 + draw.normal(count, 3, 1, 1) * draw.uniform(count, 1, 1, 1, low=0.02, high=0.5)
    return (level * tint.clamp(0.1, 3)).clamp(0.003, 1)


def _turned_axis(draw: Draw, count: int, side: int) -> tuple[Tensor, Tensor]:
    axis = torch.linspace(-1, 1, side, device=draw.device)
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    angle = draw.uniform(count, 1, 1, 1, low=0, high=math.pi)
    return x * angle.cos() + y * angle.sin(), y * angle.cos() - x * angle.sin()


def lines(draw: Draw, count: int, side: int) -> Tensor:
    """How much a net, fence or lattice covers each pixel, shape (count, 1, side, side)."""
    u, v = _turned_axis(draw, count, side)
    pitch = torch.exp(draw.uniform(count, 1, 1, 1, low=math.log(0.03), high=math.log(0.5)))
    thick = draw.uniform(count, 1, 1, 1, low=0.04, high=0.3)
    sag = 0.3 * pitch * (noise(draw, count, 1, side) - 0.5)
    across = lambda w: (((w + sag) / pitch) % 1 - 0.5).abs()  # noqa: E731
    edge = 2.5 / side / pitch
    cover = lambda w: ((thick / 2 - across(w)) / edge + 0.5).clamp(0, 1)  # noqa: E731
    both = draw.chance(count, 1, 1, 1, of=0.7)
    return torch.maximum(cover(u), cover(v) * both)


def patches(draw: Draw, count: int, side: int, number: int) -> Tensor:
    """Flat ellipses and slabs of random colour on one another, shape (count, 3, side, side)."""
    picture = colours(draw, count).expand(-1, -1, side, side).clone()
    for _ in range(number):
        u, v = _turned_axis(draw, count, side)
        u, v = (
            u - draw.uniform(count, 1, 1, 1, low=-1, high=1),
            v - draw.uniform(count, 1, 1, 1, low=-1, high=1),
        )
        a = torch.exp(draw.uniform(count, 1, 1, 1, low=math.log(0.05), high=math.log(1.0)))
        b = a * draw.uniform(count, 1, 1, 1, low=0.15, high=1)
        round_ = draw.chance(count, 1, 1, 1, of=0.6)
        far = round_ * torch.hypot(u / a, v / b) + (1 - round_) * torch.maximum((u / a).abs(), (v / b).abs())
        cover = ((1 - far) * side * b / 3 + 0.5).clamp(0, 1)
        shade = (1 + draw.uniform(count, 1, 1, 1, low=-0.6, high=0.6) * u / a).clamp(0.1, 2)
        picture = torch.lerp(picture, colours(draw, count) * shade, cover)
    return picture.clamp(0, 1)


def _layered(draw: Draw, count: int, side: int) -> Tensor:
    """Sky, far and near ground in soft-edged bands with texture."""
    y = torch.linspace(0, 1, side, device=draw.device)[None, None, :, None]
    picture = colours(draw, count) * (1 + draw.uniform(count, 1, 1, 1, low=-0.5, high=0.5) * y)
    for _ in range(3):
        wave = (
            0.1 * (noise(draw, count, 1, side)[:, :, :1] - 0.5) * draw.uniform(count, 1, 1, 1, low=0, high=2)
        )
        cover = ((y - draw.uniform(count, 1, 1, 1) - wave) * side / 4).clamp(0, 1)
        texture = 1 + (noise(draw, count, 1, side) - 0.5) * draw.uniform(count, 1, 1, 1, low=0, high=2)
        picture = torch.lerp(picture, colours(draw, count) * texture, cover)
    return picture


def _foliage(draw: Draw, count: int, side: int) -> Tensor:
    first, second = colours(draw, count), colours(draw, count)
    leaf = ((noise(draw, count, 1, side) - 0.5) * draw.uniform(count, 1, 1, 1, low=4, high=30) + 0.5).clamp(
        0, 1
    )
    light = 0.3 + 1.4 * noise(draw, count, 1, side)
    return torch.lerp(first, second, leaf) * light


def _chunk(draw: Draw, count: int, side: int) -> Tensor:
    kinds = [
        colours(draw, count) * (0.4 + 1.2 * noise(draw, count, 1, side)),
        colours(draw, count) + 0.5 * (noise(draw, count, 3, side) - 0.5),
        patches(draw, count, side, 8),
        _layered(draw, count, side),
        _foliage(draw, count, side),
    ]
    picture = torch.stack(kinds, 1)[torch.arange(count, device=draw.device), draw.index(count, len(kinds))]
    netted = lines(draw, count, side) * draw.chance(count, 1, 1, 1, of=0.35)
    picture = torch.lerp(picture, colours(draw, count).expand_as(picture), netted)
    speck = draw.normal(count, 1, side, side) * draw.uniform(count, 1, 1, 1, low=0, high=0.15)
    return (picture * (1 + speck)).clamp(0, 1)


def backdrops(draw: Draw, count: int, side: int) -> Tensor:
    """A bank of backdrops, uint8 (count, 3, side, side), square-root coded."""
    parts = [_chunk(draw, min(CHUNK, count - at), side) for at in range(0, count, CHUNK)]
    return torch.cat([(part.sqrt() * 255).round().to(torch.uint8) for part in parts])


def rain(draw: Draw, count: int, side: int) -> Tensor:
    """How much heavy rain covers each pixel, uint8 (count, 1, side, side): streaks near and far, and haze."""
    parts = []
    for at in range(0, count, CHUNK):
        n = min(CHUNK, count - at)
        clear = 1 - draw.uniform(n, 1, 1, 1, low=0.1, high=0.45) * (0.6 + 0.8 * noise(draw, n, 1, side))
        for nearer in (1.0, 2.5, 6.0):  # twice as near: twice as long and wide, and fewer for it
            many = draw.uniform(n, 1, 1, 1, low=0.3, high=1.0) * 0.008 / nearer**1.6
            falls = (draw.uniform(n, 1, side, side) < many) * draw.uniform(n, 1, side, side, low=0.3)
            long_px = nearer * torch.exp(draw.uniform(n, 1, 1, 1, low=math.log(3), high=math.log(9)))
            wide_px = nearer**0.7 * draw.uniform(n, 1, 1, 1, low=0.4, high=0.9)
            clear = clear * (1 - _streaks(falls, long_px, wide_px).clamp(0, 0.95))
        parts.append(((1 - clear).clamp(0, 1) * 255).round().to(torch.uint8))
    return torch.cat(parts)


def _streaks(points: Tensor, long_px: Tensor, wide_px: Tensor) -> Tensor:
    """Points (n, 1, s, s) drawn out into streaks of these half lengths and widths (n, 1, 1, 1), along y."""
    across, along = (torch.arange(-reach, reach + 1, device=points.device) for reach in (8, 64))
    side = torch.exp(-0.5 * (across[None, None, None, :] / wide_px) ** 2)
    down = torch.exp(-((along[None, None, :, None] / long_px) ** 4))
    drawn = functional.conv2d(points.transpose(0, 1), side, padding=(0, 8), groups=len(points))
    return functional.conv2d(drawn, down, padding=(64, 0), groups=len(points)).transpose(0, 1)


def dirt(draw: Draw, count: int, side: int) -> Tensor:
    """How much smears and drops on the lens cover each pixel, soft as they are out of focus; as `rain`."""
    axis = torch.linspace(-1, 1, side, device=draw.device)
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    parts = []
    for at in range(0, count, CHUNK):
        n = min(CHUNK, count - at)
        smear = noise(draw, n, 1, side) - draw.uniform(n, 1, 1, 1, low=0.4, high=0.6)
        smear = (smear * draw.uniform(n, 1, 1, 1, low=3, high=10)).clamp(0, 1)
        clear = 1 - smear * draw.chance(n, 1, 1, 1, of=0.6)
        wobble = 0.5 * (noise(draw, n, 1, side) - 0.5)
        for _ in range(12):
            off_x, off_y = x - draw.uniform(n, 1, 1, 1, low=-1), y - draw.uniform(n, 1, 1, 1, low=-1)
            radius = torch.exp(draw.uniform(n, 1, 1, 1, low=math.log(0.05), high=math.log(0.35)))
            edge = draw.uniform(n, 1, 1, 1, low=1.5, high=6)
            spot = ((1 + wobble - torch.hypot(off_x, off_y) / radius) * edge).clamp(0, 1)
            clear = clear * (1 - spot * draw.uniform(n, 1, 1, 1, low=0.4))
        soft = functional.avg_pool2d(1 - clear, 9, 1, 4, count_include_pad=False)
        parts.append((soft.clamp(0, 1) * 255).round().to(torch.uint8))
    return torch.cat(parts)


def things_in_front(draw: Draw, count: int, side: int) -> Tensor:
    """Nets, straps, rain and dust, uint8 (count, 4, side, side): colour, square-root coded, and cover."""
    parts = []
    for at in range(0, count, CHUNK):
        n = min(CHUNK, count - at)
        net = lines(draw, n, side)
        u, _ = _turned_axis(draw, n, side)
        width = draw.uniform(n, 1, 1, 1, low=0.03, high=0.2)
        strip = ((width - (u - draw.uniform(n, 1, 1, 1, low=-0.8, high=0.8)).abs()) * side / 3).clamp(0, 1)
        drops = ((noise(draw, n, 1, side) - draw.uniform(n, 1, 1, 1, low=0.75, high=0.95)) * 12).clamp(0, 0.8)
        haze = noise(draw, n, 1, side) * draw.uniform(n, 1, 1, 1, low=0, high=0.5)
        kinds = torch.stack([net, strip, drops, haze], 1)
        cover = kinds[torch.arange(n, device=draw.device), draw.index(n, 4)]
        coded = torch.cat([(colours(draw, n) * cover).sqrt(), cover], 1)
        parts.append((coded * 255).round().to(torch.uint8))
    return torch.cat(parts)
