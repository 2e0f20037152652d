"""Reads plan.toml, which says how the cues of a session were drawn."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from release.errors import PlanUnreadable
from release.session.result import Plan


def read_plan(path: Path) -> Plan:
    """Read a plan.

    `strata` may be left out (one free draw), a list with the size of each stratum (sums to the number of
    units), a list with a label for each unit, the number of equal strata, or the names of columns within
    which the plan was drawn (`["athlete", "pitch"]`).

    Raises:
        PlanUnreadable: The file is missing or not TOML, or it contradicts itself; the message says where.
    """
    try:
        return plan_of(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise PlanUnreadable(path, "there is no such file") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValueError) as error:
        raise PlanUnreadable(path, str(error)) from None


def plan_of(text: str) -> Plan:
    """The plan that a text in TOML states; see `read_plan`.

    Raises:
        ValueError: It is not TOML, or it contradicts itself.
    """
    content = tomllib.loads(text)
    unit = content.get("unit")
    if unit not in ("throw", "block"):
        raise ValueError(f'unit must be "throw" or "block", it is {unit!r}')
    cues, order = _words(content, "cues"), _words(content, "order")
    if len(set(cues)) < 2 or len(set(cues)) < len(cues):
        raise ValueError(f"cues must name two or more different cues, it is {list(cues)}")
    if unknown := sorted(set(order) - set(cues)):
        raise ValueError(f"order holds {unknown}, which cues does not name")
    count = _number(content, f"{unit}s")
    if count is not None and count != len(order):
        raise ValueError(f"order lists {len(order)} {unit}s, but {unit}s is {count}")
    stratum, within = _strata(content.get("strata"), len(order))
    plan = Plan(
        unit=unit,
        cues=cues,
        order=order,
        stratum=stratum,
        within=within,
        longest_run=_number(content, "longest_run") or None,
        seed=_number(content, "seed"),
        main_outcome=content.get("main_outcome") or None,
        worth=_worth(content.get("worth", {})),
    )
    if plan.longest_run is not None and plan.run_in_order > plan.longest_run:
        raise ValueError(
            f"order has one cue {plan.run_in_order} times in a row, but longest_run is {plan.longest_run}"
        )
    return plan


def _words(content: Mapping[str, Any], key: str) -> tuple[str, ...]:
    value = content.get(key)
    if not isinstance(value, list) or not value or not all(isinstance(word, str) for word in value):
        raise ValueError(f"{key} must be a list of cue names, it is {value!r}")
    return tuple(word.strip() for word in value)


def _number(content: Mapping[str, Any], key: str) -> int | None:
    value = content.get(key)
    if isinstance(value, list):  # the blocks or throws by number
        return len(value)
    if value is None or value is False:
        return None
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(f"{key} must be a whole number, it is {value!r}")
    return value


def _worth(value: Any) -> dict[str, float]:
    if not isinstance(value, dict):
        raise ValueError(f"[worth] must be a table of FIGURE = NUMBER, it is {value!r}")
    for figure, change in value.items():
        if isinstance(change, bool) or not isinstance(change, int | float) or not change > 0:
            raise ValueError(f"worth of {figure} must be a number above 0, it is {change!r}")
    return {figure: float(change) for figure, change in value.items()}


def _strata(value: Any, count: int) -> tuple[tuple[int, ...], tuple[str, ...]]:
    free = (0,) * count
    if value in (None, False, 0, 1, "", "none") or value == []:
        return free, ()
    if isinstance(value, int) and count % value == 0:
        return tuple(i // (count // value) for i in range(count)), ()
    if isinstance(value, list) and len(value) == count:
        labels = list(dict.fromkeys(map(str, value)))
        return tuple(labels.index(str(label)) for label in value), ()
    if isinstance(value, list) and all(isinstance(size, int) for size in value) and sum(value) == count:
        return tuple(i for i, size in enumerate(value) for _ in range(size)), ()
    if isinstance(value, list) and all(isinstance(name, str) for name in value):
        return free, tuple(value)
    raise ValueError(f"strata {value!r} do not share out {count} units")
