"""Rendered people without backgrounds become pictures as phones take them, on the training device.

In:   crops as rendered (uint8 RGBA, premultiplied, square-root coded) with their labels.
Out:  (batch, 3, side, side) RGB 0..1 encoded as filmed, and labels that moved with the picture.
Why:  a network learns what stays the same; so everything else varies: place, backdrop, light, lens,
      sensor, resolution, compression, what stands in front. Directions are turned with the picture.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import torch
from torch import Tensor
from torch.nn import functional

from release.landmarks.result import READ_PX, Kind
from release.landmarks.track import CROP_M, DETAIL_M, ELBOW_M
from release.workshop.backdrops import Draw, backdrops, colours, dirt, rain, things_in_front
from release.workshop.crops import WIDTH_M

# Sides of the crop in camera pixels, multiples of 8; a detail is looked at only where a hand is large.
SMALL_PX, LARGE_PX = (192, 192, 192, 176, 160, 128, 112, 96, 80, 64), (192, 192, 192, 192, 176, 160, 144, 128)
SOURCE_PX = {"hand": SMALL_PX, "arm": SMALL_PX, "elbow": SMALL_PX, "detail": LARGE_PX}
SETTLED_M = {"hand": CROP_M, "detail": DETAIL_M, "elbow": ELBOW_M}
GROUPS = 8  # a batch is split, each part with one source resolution, so that shapes stay few
NO_HAND = 0.08  # share of pictures with nobody in them
STAND_IN = 0.5  # share of those in which a jointed stick takes the arm's place
RAINED_ON, THROUGH_DIRT = slice(0, None, 12), slice(1, None, 12)  # of a batch, in no order: 8 % each
SPOILT = 0.08  # mean change, of the mean brightness, from which on rain or dirt make a picture strange
FILTERED = 0.2  # share of the parts of a batch whose colours and edges a random filter turns
LEAN = 0.06  # SD, picture sides a side: rows are exposed one after the other, so what moves leans
MIX = ((0.299, 0.587, 0.114), (-0.1687, -0.3313, 0.5), (0.5, -0.4187, -0.0813))  # ITU-R BT.601


@dataclass(frozen=True, slots=True, kw_only=True)
class Banks:
    """What stands behind and in front, drawn once."""

    behind: Tensor  # uint8 (n, 3, s, s)
    before: Tensor  # uint8 (n, 4, s, s)
    rain: Tensor  # uint8 (n, 1, s, s), cover
    dirt: Tensor  # the same


def draw_banks(draw: Draw, *, behind: int, before: int, side: int = 224) -> Banks:
    """Banks of backdrops, and as many of each kind of thing in front."""
    return Banks(
        behind=backdrops(draw, behind, side),
        before=things_in_front(draw, before, side),
        rain=rain(draw, before, side),
        dirt=dirt(draw, before, side),
    )


def windows(draw: Draw, kind: str, labels: dict[str, Tensor]) -> tuple[Tensor, Tensor, Tensor]:
    """Random zoom (b,), turn in radians (b,) and shift (b, 2) of the window, in half sides of the crop."""
    count = len(labels["points"])
    if kind != "arm":  # mostly of the width that the tracker settles on, else as its first looks are
        settled = draw.chance(count, of=0.65)
        zoom = (
            SETTLED_M[kind]
            / WIDTH_M[kind]
            * torch.exp(draw.uniform(count, low=-1, high=1) * (0.3 - 0.2 * settled))
        )
        turn = draw.normal(count) * math.radians(9)
        return zoom, turn, (draw.normal(count, 2) * 0.07).clamp(-0.2, 0.2)
    points = labels["points"] * 2 - 1
    centre = (points.amax(1) + points.amin(1)) / 2
    reach = (points.amax(1) - points.amin(1)).amax(1) / 2
    least = (reach * 1.3).clamp(0.25, 1)
    zoom = torch.exp(draw.uniform(count) * least.log())
    zoom = torch.where(draw.chance(count, of=0.4) > 0, torch.ones_like(zoom), zoom)
    room = (1.15 - zoom).clamp(min=0)[:, None]  # the window hardly leaves the frame
    slack = (zoom - reach * 0.9).clamp(min=0.05)[:, None]
    shift = (
        torch.minimum((centre + draw.uniform(count, 2, low=-1, high=1) * slack).abs(), room) * centre.sign()
    )
    return zoom, draw.normal(count) * math.radians(4), torch.where(zoom[:, None] == 1, 0 * shift, shift)


def _leaning(draw: Draw, theta: Tensor) -> Tensor:
    """Half of the windows as a rolling shutter sees them: each row a little later than the one above."""
    count = len(theta)
    drift = draw.normal(count, 2) * LEAN * draw.chance(count, 1, of=0.5)
    drift = drift.clamp(-0.2, 0.2)
    down = theta[:, :, 1] + (theta[:, :, :2] @ drift[:, :, None])[:, :, 0]
    return torch.stack([theta[:, :, 0], down, theta[:, :, 2]], 2)


def _inverse(two: Tensor) -> Tensor:
    """Of matrices (b, 2, 2)."""
    (a, b), (c, d) = two[:, 0].unbind(1), two[:, 1].unbind(1)
    turned = torch.stack([torch.stack([d, -b], 1), torch.stack([-c, a], 1)], 1)
    return turned / (a * d - b * c)[:, None, None]


def _theta(zoom: Tensor, turn: Tensor, shift: Tensor, flip: Tensor) -> Tensor:
    """Affine (b, 2, 3) from places in the picture to places in the crop, both -1..1."""
    c, s = zoom * turn.cos(), zoom * turn.sin()
    rows = [torch.stack([c * flip, -s, shift[:, 0]], 1), torch.stack([s * flip, c, shift[:, 1]], 1)]
    return torch.stack(rows, 1)


def _sample(draw: Draw, coded: Tensor, theta: Tensor, padding: str, side_px: int) -> Tensor:
    """What `theta` cuts out of pictures (b, 3 or 4, s, s), of such a side and as exact as `draw`.

    Colour comes coded by its square root and leaves linear; a fourth channel, cover, is linear.
    """
    grid = functional.affine_grid(theta, [len(theta), 1, side_px, side_px], align_corners=False)
    cut = functional.grid_sample(coded.float(), grid, padding_mode=padding, align_corners=False)
    cut = cut.to(draw.dtype) / 255
    return torch.cat([cut[:, :3] ** 2, cut[:, 3:]], 1)


def moved_labels(
    labels: dict[str, Tensor], zoom: Tensor, turn: Tensor, theta: Tensor, flip: Tensor
) -> dict[str, Tensor]:
    """Labels of the picture that `theta` cuts out of the crop."""
    moved = dict(labels)
    back = _inverse(theta[:, :, :2])
    points = labels["points"] * 2 - 1
    moved["points"] = ((points - theta[:, None, :, 2]) @ back.transpose(1, 2) + 1) / 2
    c, s, zero, one = turn.cos(), turn.sin(), torch.zeros_like(turn), torch.ones_like(turn)
    rows = [[c * flip, s * flip, zero], [-s, c, zero], [zero, zero, one]]
    spin = torch.stack([torch.stack(row, 1) for row in rows], 1)
    for name in ("direction", "upper_arm"):
        if name in labels:
            moved[name] = (spin @ labels[name][:, :, None])[:, :, 0]
    if "palm" in labels:
        moved["palm"] = spin @ labels["palm"]
        moved["radius"] = labels["radius"] / zoom
        moved["log_zoom"] = labels["log_zoom"] + zoom.log()
    if "right" in labels:
        moved["right"] = torch.where(flip < 0, 1 - labels["right"], labels["right"])
    return moved


def augmented(
    draw: Draw, kind: Kind, coded: Tensor, others: Tensor, labels: dict[str, Tensor], banks: Banks
) -> tuple[Tensor, dict[str, Tensor]]:
    """One batch of pictures as phones would take them.

    Args:
        draw: Random numbers on the device of the crops.
        kind: "hand", "detail", "elbow" or "arm".
        coded: Shape (b, s, s, 4), uint8, as rendered.
        others: The same, other crops, which become clutter behind.
        labels: points (b, n, 2) as shares of the side, direction (b, 3), and for hands palm (b, 3, 3),
            radius (share of the side), log_zoom, strange; for elbows upper_arm; for arms right.
        banks: What stands behind and in front.

    Returns:
        Pictures (b, 3, side, side), and labels that moved with them. Strange is also where nobody is left,
        and what rain or dirt on the lens spoils; light cover is not.
    """
    count, device = len(coded), coded.device
    zoom, turn, shift = windows(draw, kind, labels)
    flip = 1 - 2 * draw.chance(count, of=0.5) if kind == "arm" else torch.ones(count, device=device)
    theta = _leaning(draw, _theta(zoom, turn, shift, flip))
    moved = moved_labels(labels, zoom, turn, theta, flip)
    pixels, side_px = draw.coarse(), READ_PX[kind]
    person = _sample(pixels, coded.permute(0, 3, 1, 2), theta, "border", side_px)
    person = _shaded(draw, pixels, person, banks)
    absent = draw.chance(count, of=NO_HAND)
    moved["present"] = labels["present"] * (1 - absent)
    gone = absent.to(pixels.dtype)[:, None, None, None]
    person = person * (1 - gone) + _stick(draw, pixels, count, side_px) * gone
    scene = _scene(draw, pixels, person, others, banks, kind)
    if kind == "hand":
        spoilt = _spoil(draw, pixels, scene, banks)
        moved["strange"] = torch.maximum(torch.maximum(labels["strange"], 1 - moved["present"]), spoilt)
    pictures = torch.cat([_filmed(pixels, part, SOURCE_PX[kind]) for part in scene.chunk(GROUPS)]).float()
    return _letterboxed(draw, pictures) if kind == "arm" else pictures, moved


def _shaded(draw: Draw, pixels: Draw, person: Tensor, banks: Banks) -> Tensor:
    """Shadows that fall on the person, and skin and cloth less even than they were drawn."""
    count = len(person)
    one = torch.ones(count, device=person.device)
    cover = []
    for source in (banks.before, banks.behind):
        which = draw.index(count, len(source))
        zoom = torch.exp(draw.uniform(count, low=-2, high=0))
        theta = _theta(zoom, draw.normal(count) * 2, draw.uniform(count, 2, low=-0.5, high=0.5), one)
        cover.append(_sample(pixels, source[which], theta, "reflection", person.shape[-1]))
    shadow, texture = cover[0][:, 3:], cover[1]
    dark = pixels.uniform(count, 1, 1, 1, low=0.2, high=0.9) * pixels.chance(count, 1, 1, 1, of=0.35)
    even = texture.mean((1, 2, 3), keepdim=True).clamp(min=0.02)
    rough = pixels.uniform(count, 1, 1, 1, high=0.5) * pixels.chance(count, 1, 1, 1, of=0.5)
    colour = person[:, :3] * (1 - dark * shadow) * (1 + rough * (texture / even - 1)).clamp(0.2, 2)
    return torch.cat([colour, person[:, 3:]], 1)


def _cover(draw: Draw, pixels: Draw, bank: Tensor, count: int, side_px: int) -> Tensor:
    """Covers (count, 1, s, s) out of a bank, more or less enlarged, turned any way and mirrored."""
    theta = _theta(
        torch.exp(draw.uniform(count, low=-1, high=0)),
        draw.uniform(count, high=2 * math.pi),
        draw.uniform(count, 2, low=-0.4, high=0.4),
        1 - 2 * draw.chance(count, of=0.5),
    )
    cover = bank[draw.index(count, len(bank))].expand(-1, 4, -1, -1)  # as the fourth channel is: linear
    cover = _sample(pixels, cover, theta, "reflection", side_px)[:, 3:]
    return cover * pixels.uniform(count, 1, 1, 1, low=0.7)


def _spoil(draw: Draw, pixels: Draw, scene: Tensor, banks: Banks) -> Tensor:
    """Heavy rain over some of the scenes and a dirty lens before others, in place; which (b,) it spoils."""
    spoilt = torch.zeros(len(scene), device=scene.device)
    for rows, bank, seen in ((RAINED_ON, banks.rain, _rained_on), (THROUGH_DIRT, banks.dirt, _through_dirt)):
        clear = scene[rows]
        if len(clear) == 0:  # a batch too small for one
            continue
        cover = _cover(draw, pixels, bank, len(clear), clear.shape[-1]).expand_as(clear)
        veiled = torch.lerp(clear, seen(pixels, clear), cover)
        change = (veiled - clear).abs().mean((1, 2, 3)) / clear.mean((1, 2, 3)).clamp(min=0.01)
        spoilt[rows] = (change > SPOILT).float()
        scene[rows] = veiled
    return spoilt


def _rained_on(draw: Draw, scene: Tensor) -> Tensor:
    """What drops show: about the sky's light, whatever is behind them."""
    count = len(scene)
    sky = draw.uniform(count, 1, 1, 1, low=0.25, high=1.0) * (1 + draw.normal(count, 3, 1, 1) * 0.05)
    return sky.expand_as(scene)


def _through_dirt(draw: Draw, scene: Tensor) -> Tensor:
    """What a dirty or wet place on the lens shows: a colour of its own, more or less, and all round it."""
    round_it = functional.interpolate(
        functional.avg_pool2d(scene, 12), scene.shape[2:], mode="bilinear", align_corners=False
    )
    wet = draw.uniform(len(scene), 1, 1, 1, high=0.8).expand_as(scene)
    return torch.lerp(colours(draw, len(scene)).expand_as(scene), round_it, wet)


def _stick(draw: Draw, pixels: Draw, count: int, side_px: int) -> Tensor:
    """What is no arm but stands like one: two rounded bars, the upper thick or short; (count, 4, s, s)."""
    axis = torch.linspace(-1, 1, side_px, device=draw.device)
    place = torch.stack(torch.meshgrid(axis, axis, indexing="xy"), 2)[None]
    joint = draw.normal(count, 2) * 0.15
    foot = torch.stack([draw.normal(count) * 0.5, torch.ones(count, device=draw.device) * 1.2], 1)
    top = joint + torch.stack([draw.normal(count) * 0.2, -draw.uniform(count, low=0.02, high=0.6)], 1)
    colour = colours(draw, count)
    drawn = torch.zeros(count, 4, side_px, side_px, device=draw.device)
    for start, end in ((foot, joint), (joint, top)):
        way = (end - start)[:, None, None]
        off = place - start[:, None, None]
        along = ((off * way).sum(3) / (way * way).sum(3)).clamp(0, 1)
        thick = draw.uniform(count, 1, 1, low=0.08, high=0.3)
        far = (off - along[..., None] * way).norm(dim=3) / thick
        cover = ((1 - far) * thick * side_px / 2 + 0.5).clamp(0, 1)[:, None]
        round_ = (1 - far * far).clamp(0.05, 1).sqrt()[:, None]  # as a cylinder lit from the front
        drawn = torch.lerp(
            drawn, torch.cat([colour * (0.4 + 0.6 * round_), torch.ones_like(cover)], 1), cover
        )
    return (drawn * draw.chance(count, 1, 1, 1, of=STAND_IN)).to(pixels.dtype)


def _other_ball(draw: Draw, behind: Tensor) -> Tensor:
    """A ball that nobody throws, on some of the backdrops."""
    count, side_px = len(behind), behind.shape[-1]
    axis = torch.linspace(0, 1, side_px, device=behind.device, dtype=behind.dtype)
    middle = draw.uniform(count, 2, 1, 1)
    radius = torch.exp(draw.uniform(count, 1, 1, low=math.log(0.015), high=math.log(0.12)))
    x, y = (axis[None, None, :] - middle[:, 0]) / radius, (axis[None, :, None] - middle[:, 1]) / radius
    cover = ((1 - torch.hypot(x, y)) * radius * side_px + 0.5).clamp(0, 1)
    shade = (0.7 - 0.3 * (x * draw.normal(count, 1, 1) + y)).clamp(0.1, 1.2)
    white = draw.uniform(count, 1, 1, 1, low=0.4, high=1.1)
    cover = (cover * draw.chance(count, 1, 1, of=0.25))[:, None]
    return torch.lerp(behind, (white * shade[:, None]).expand_as(behind), cover.expand_as(behind))


def _scene(draw: Draw, pixels: Draw, person: Tensor, others: Tensor, banks: Banks, kind: str) -> Tensor:
    count, side_px = len(person), person.shape[-1]
    one = torch.ones(count, device=person.device)
    which = draw.index(count, len(banks.behind))
    theta = _theta(
        draw.uniform(count, low=0.3, high=1), draw.normal(count) * 0.3, draw.normal(count, 2) * 0.3, one
    )
    behind = _sample(pixels, banks.behind[which], theta, "reflection", side_px)
    behind = _other_ball(pixels, (behind * _lit(pixels, count, 0.6, 0.15)).clamp(0, 2))
    apart = draw.uniform(count, 2, low=-1.3, high=1.3)
    spread = 0.15 if kind == "arm" else math.pi
    theta = _theta(
        torch.exp(draw.uniform(count, low=-0.3, high=1.0)), draw.normal(count) * spread, apart, one
    )
    clutter = _sample(pixels, others.permute(0, 3, 1, 2), theta, "zeros", side_px)
    clutter = clutter * pixels.chance(count, 1, 1, 1, of=0.4)
    behind = clutter[:, :3] + (1 - clutter[:, 3:]) * behind
    scene = person[:, :3] * _lit(pixels, count, 0.35, 0.1) + (1 - person[:, 3:]) * behind
    theta = _theta(one * 0.7, draw.normal(count), 0.2 * apart, one)
    which = draw.index(count, len(banks.before))
    before = _sample(pixels, banks.before[which], theta, "reflection", side_px)
    before = before * pixels.chance(count, 1, 1, 1, of=0.2)
    return before[:, :3] + (1 - before[:, 3:]) * scene


def _lit(draw: Draw, count: int, level: float, tint: float) -> Tensor:
    """Light of a random level and tint, (count, 3, 1, 1); both are spreads."""
    light = torch.exp(draw.normal(count, 1, 1, 1) * level)
    return light * (1 + draw.normal(count, 3, 1, 1) * tint).clamp(0.4, 1.6)


def _filmed(draw: Draw, scene: Tensor, sources_px: Sequence[int]) -> Tensor:
    """Lens, sensor, tone and compression at one source resolution, then back to the network's side."""
    source_px, side_px = draw.host.choice(sources_px), scene.shape[-1]
    if source_px != side_px:
        scene = functional.interpolate(scene, (source_px, source_px), mode="bilinear", antialias=True)
    scene = _filtered(draw, _blurred(draw, scene))
    picture = _toned(draw, scene)
    picture = _noisy(draw, picture)
    picture = _compressed(draw, picture)
    if source_px != side_px:
        picture = functional.interpolate(picture, (side_px, side_px), mode="bilinear", align_corners=False)
    return picture.clamp(0, 1)


def _blurred(draw: Draw, scene: Tensor) -> Tensor:
    """Defocus or a shake of the camera: one kernel for these pictures."""
    if draw.host.random() < 0.5:
        return scene
    axis = torch.arange(-4, 5, device=scene.device).to(scene.dtype)
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    angle, (along, across) = (
        draw.uniform(1) * math.pi,
        torch.exp(draw.uniform(2, low=-1.2, high=0.6)).sort().values,
    )
    u, v = x * angle.cos() + y * angle.sin(), y * angle.cos() - x * angle.sin()
    kernel = torch.exp(-0.5 * ((u / across) ** 2 + (v / along) ** 2))
    kernel = (kernel / kernel.sum()).to(scene.dtype).expand(3, 1, 9, 9)
    return functional.conv2d(functional.pad(scene, (4, 4, 4, 4), mode="replicate"), kernel, groups=3)


def _filtered(draw: Draw, scene: Tensor) -> Tensor:
    """Colours and edges as no camera shows them: a random filter, as in Xu et al. (2021), ICLR, "Robust and
    generalizable visual representation learning via random convolutions"; shapes stay as they are.
    """
    if draw.host.random() >= FILTERED:
        return scene
    reach = draw.host.choice((0, 1, 2))
    kernel = draw.normal(3, 3, 2 * reach + 1, 2 * reach + 1) / (2 * reach + 1)
    turned = functional.conv2d(functional.pad(scene, (reach,) * 4, mode="replicate"), kernel)
    return torch.lerp(scene, turned.abs(), draw.uniform(len(scene), 1, 1, 1, low=0.2))


def _toned(draw: Draw, scene: Tensor) -> Tensor:
    """Exposure, white balance, local tone mapping, contrast and gamma."""
    count = len(scene)
    level = scene.mean((1, 2, 3), keepdim=True).clamp(min=0.01)
    exposed = scene * (0.2 / level) ** draw.uniform(count, 1, 1, 1, low=0.3, high=1)
    exposed = (
        exposed * torch.exp(draw.normal(count, 1, 1, 1) * 0.4) * (1 + draw.normal(count, 3, 1, 1) * 0.07)
    )
    luma = exposed.mean(1, keepdim=True)
    near = functional.interpolate(
        functional.avg_pool2d(luma, 8), scene.shape[2:], mode="bilinear", align_corners=False
    )
    local = draw.uniform(count, 1, 1, 1, low=0, high=0.5) * draw.chance(count, 1, 1, 1, of=0.35)
    exposed = exposed * ((near.clamp(min=0.01) / 0.25) ** -local)
    grey = exposed.mean(1, keepdim=True)
    exposed = grey + (exposed - grey) * draw.uniform(count, 1, 1, 1, low=0.2, high=1.3)
    shoulder = draw.uniform(count, 1, 1, 1, low=0, high=0.5)  # how softly highlights roll off
    exposed = exposed.clamp(min=0)
    exposed = exposed * (1 + shoulder * exposed) / (1 + exposed * 2 * shoulder)
    encoded = exposed.clamp(1e-5, 1) ** (1 / draw.uniform(count, 1, 1, 1, low=1.7, high=2.6))
    curved = encoded * encoded * (3 - 2 * encoded)
    black = draw.uniform(count, 1, 1, 1, low=-0.04, high=0.08)
    return black + (1 - black) * torch.lerp(encoded, curved, draw.uniform(count, 1, 1, 1, low=-0.2, high=0.7))


def _noisy(draw: Draw, picture: Tensor) -> Tensor:
    count = len(picture)
    amount = torch.exp(draw.uniform(count, 1, 1, 1, low=math.log(0.002), high=math.log(0.06)))
    shot = (1.2 - picture).clamp(0.2, 1)  # the encoding lifts noise in the shadows
    grey = draw.chance(count, 1, 1, 1, of=0.5)
    grain = torch.lerp(draw.normal(*picture.shape), draw.normal(count, 1, *picture.shape[2:]), 0.7 * grey)
    return picture + amount * shot * grain


def _compressed(draw: Draw, picture: Tensor) -> Tensor:
    """Quantise the 8 x 8 cosine transform, coarser for high frequencies and for colour."""
    count, _, height, width = picture.shape
    cosine, to_luma, from_luma, coarser = _coding(picture.device, picture.dtype)
    split = torch.einsum("ck,bkhw->bchw", to_luma, picture)
    blocks = split.unflatten(2, (height // 8, 8)).unflatten(4, (width // 8, 8))
    waves = torch.einsum("ui,bcyixj,vj->bcyuxv", cosine, blocks, cosine)
    step = torch.exp(draw.uniform(count, 1, 1, 1, 1, 1, low=math.log(0.004), high=math.log(0.12)))
    step = step * draw.chance(count, 1, 1, 1, 1, 1, of=0.85) + 1e-3
    steps = step * coarser
    waves = (waves / steps).round() * steps
    blocks = torch.einsum("ui,bcyuxv,vj->bcyixj", cosine, waves, cosine)
    split = blocks.flatten(4, 5).flatten(2, 3)
    return torch.einsum("ck,bkhw->bchw", from_luma, split)


@cache
def _coding(device: torch.device, dtype: torch.dtype) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """The cosine transform; to luma and back; how much coarser high waves and colour are coded."""
    k = torch.arange(8).float()
    cosine = torch.cos(math.pi / 8 * k[:, None] * (k[None] + 0.5)) * math.sqrt(2 / 8)
    cosine[0] /= math.sqrt(2)
    to_luma = torch.tensor(MIX)
    colour = torch.tensor([1.0, 2.0, 2.0])[None, :, None, None, None, None]
    coarser = colour * (1 + 0.5 * (k[:, None, None] + k[None, None, :]))
    found = (cosine, to_luma, torch.linalg.inv(to_luma), coarser)
    return tuple(t.to(device, dtype) for t in found)  # pyright: ignore[reportReturnType]


def _letterboxed(draw: Draw, pictures: Tensor) -> Tensor:
    """Black bars, as round a whole frame that is not square."""
    count, side_px, device = len(pictures), pictures.shape[-1], pictures.device
    bar = draw.uniform(count, 1, 1, 1, low=0.05, high=0.22) * draw.chance(count, 1, 1, 1, of=0.3)
    axis = (torch.arange(side_px, device=device) + 0.5) / side_px - 0.5
    tall = draw.chance(count, 1, 1, 1, of=0.3) > 0
    off = torch.where(tall, axis[None, None, None, :].abs(), axis[None, None, :, None].abs())
    return pictures * (off < 0.5 - bar)
