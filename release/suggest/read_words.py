"""A facility's own words: cues, shape boundaries and the planning rule, from a TOML file."""

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from release.errors import ReleaseError
from release.suggest.cue import Cue, renamed
from release.suggest.rename import Rename
from release.suggest.result import Shape

OPEN = (float("-inf"), float("inf"))
BOUNDS = ("mph_below_fastball", "induced_vertical_break_in", "horizontal_break_in")


class WordsFileWrong(ReleaseError):
    """The file of cues and shapes cannot be used as it is."""

    def __init__(self, file: str, fault: str) -> None:
        super().__init__(f"{fault}. Mend it in {file}; the file that comes with the tool shows the form")


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What one facility says."""

    cues: tuple[Cue, ...]
    shapes: tuple[Shape, ...]
    renames: tuple[Rename, ...]  # in the order made; the cues already bear their new names
    breaking_ball_mph_per_fastball_mph: float


def read_words(path: Path | None = None) -> Words:
    """Read a facility's words, or the starter list without a path.

    Raises:
        WordsFileWrong: Not TOML, an entry lacks a field, or a bound is no pair of numbers.
    """
    name = path.name if path else "starter.toml"
    try:
        text = (path or files("release.suggest") / "starter.toml").read_text(encoding="utf-8")
        table = tomllib.loads(text)
        cues = tuple(Cue(**_tupled(entry)) for entry in table.get("cues", []))
        renames = tuple(Rename(**entry) for entry in table.get("renames", []))
        return Words(
            cues=functools.reduce(
                lambda now, r: renamed(now, r.old, r.new), (r for r in renames if r.of == "cue"), cues
            ),
            shapes=tuple(_shape(entry) for entry in table.get("shapes", [])),
            renames=renames,
            breaking_ball_mph_per_fastball_mph=float(
                table.get("planning", {}).get("breaking_ball_mph_per_fastball_mph", 0.75)
            ),
        )
    except FileNotFoundError:
        raise WordsFileWrong(name, f"there is no file {path}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, TypeError, ValueError) as error:
        raise WordsFileWrong(name, f"cannot read the words: {error}") from error


def _tupled(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}


def _shape(entry: Mapping[str, Any]) -> Shape:
    bounds = {}
    for key in BOUNDS:
        low, high = entry.get(key, OPEN)
        if not float(low) < float(high):
            raise ValueError(f"{key} of {entry.get('name')!r} needs a low and a high, got {entry.get(key)}")
        bounds[key] = (float(low), float(high))
    if not isinstance(entry.get("name"), str):
        raise ValueError(f"a shape needs a name: {dict(entry)}")
    return Shape(name=entry["name"], **bounds)
