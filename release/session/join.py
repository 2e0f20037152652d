"""Lists joined to nodes (one throw each, as far as is known), and each row judged against the rest."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from release.session.pairing import Clock, Pairing, pair
from release.session.rows import Rows
from release.session.spoken import Key, Words

LIKELY = 0.5  # a pair as likely as this is joined for the time being
CERTAIN_CLOCK = 0.99
LONG_ROWS = 1000  # lists so long say enough in any order
JITTER_SD_S = 2.0  # of one clock, before it is learnt

F = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """The lists on one axis, and the nodes that their rows make for the time being."""

    lists: Mapping[str, Rows]
    first: str  # the list whose clock is the axis
    placed: tuple[str, ...]  # the lists joined, in that order
    # Lists whose clock could stand in several ways, and what they were paired with.
    unplaced: Mapping[str, tuple[Rows, Pairing]]
    clocks: Mapping[str, Clock]
    nodes: tuple[tuple[Key, ...], ...]  # in order; of an unplaced list only what a person joined
    axis: Mapping[Key, float]  # time on the axis; a position where there is no clock


def join(lists: Mapping[str, Rows], words: Words) -> Joined:
    """Join the lists, the surest first."""
    order, surest = _surest_first(lists, words)
    first = order[0] if order else ""
    rows = lists[first] if order else None
    axis = _own_axis(rows) if rows is not None else {}
    nodes: list[tuple[Key, ...]] = list(rows.member) if rows is not None else []
    placed, unplaced, clocks = [first] if order else [], {}, {}
    for name in order[1:]:
        whole, added = _rows_of_nodes(nodes, lists, axis), lists[name]
        pairing = surest or pair(whole, added, *words.pairs(whole, added))
        surest = None
        if pairing.clocks:
            clocks[name] = pairing.clocks[0]
        unsure = bool(pairing.clocks) and pairing.clocks[0].weight < CERTAIN_CLOCK
        partner = _partners(whole, added, pairing, words, only_said=unsure)
        if unsure:
            unplaced[name] = (whole, pairing)
            at = _placed(whole, added, pairing, {}) | {
                added.member[j][0]: axis[whole.member[i][0]] for i, js in partner.items() for j in js
            }
        else:
            placed.append(name)
            at = _placed(whole, added, pairing, partner)
        axis = axis | at
        taken = {j for js in partner.values() for j in js}
        nodes = [
            keys + tuple(added.member[j][0] for j in partner.get(i, ()))
            for i, keys in enumerate(whole.member)
        ]
        # What a person said of two lists that are both unplaced is kept in a node of theirs alone.
        nodes += [
            added.member[j]
            for j in range(len(added))
            if j not in taken and (not unsure or words.spoken_of(added.member[j][0]))
        ]
        nodes.sort(key=lambda keys: sum(axis[key] for key in keys) / len(keys))
    return Joined(
        lists=lists,
        first=first,
        placed=tuple(placed),
        unplaced=unplaced,
        clocks=clocks,
        nodes=tuple(nodes),
        axis=axis,
    )


def settle(joined: Joined, name: str, words: Words) -> tuple[Rows, Rows, Pairing]:
    """One list taken out and paired with the nodes that the others make.

    Returns:
        The others' nodes, the list, and their pairing.
    """
    rest = [tuple(key for key in keys if key[0] != name) for keys in joined.nodes]
    known = [keys for keys in rest if any(key[0] in joined.placed for key in keys)]
    if joined.lists[name].timed:
        # A row known by its order alone stands on the axis where a guess put it: beside the throw that it is.
        placed = [
            keys for keys in known if any(joined.lists[key[0]].timed or words.spoken_of(key) for key in keys)
        ]
        known = placed or known
    others = _rows_of_nodes(known, joined.lists, joined.axis)
    own = joined.lists[name]
    on_axis = (
        replace(own, time_s=np.array([joined.axis[keys[0]] for keys in own.member])) if own.timed else own
    )
    start: tuple[Clock, ...] = ()
    if others.timed and on_axis.timed and len(others) and len(own):
        weight = min([1.0, *(c.weight for n, c in joined.clocks.items() if n == name)])
        start = (Clock(offset_s=0, drift=0, origin_s=others.time_s[0], jitter_sd_s=2.5, weight=weight),)
    return others, own, pair(others, on_axis, *words.pairs(others, own), clocks=start)


def _surest_first(lists: Mapping[str, Rows], words: Words) -> tuple[list[str], Pairing | None]:
    """The two lists that pair best, then those with clocks before those without, long before short.

    Returns:
        The names in order, and the pairing of the first two where it was made.
    """
    rest = sorted(lists, key=lambda name: (not lists[name].timed, -len(lists[name]), name))
    timed = [name for name in rest if lists[name].timed]
    if len(timed) < 3 or max(len(lists[name]) for name in timed) > LONG_ROWS:
        return rest, None
    pairings = {
        (a, b): pair(lists[a], lists[b], *words.pairs(lists[a], lists[b])) for a, b in combinations(timed, 2)
    }

    def sureness(names: tuple[str, str]) -> float:
        chance = pairings[names].chance
        return float(chance[chance > LIKELY].sum()) / max(min(len(lists[name]) for name in names), 1)

    best = max(pairings, key=sureness)
    return [*best, *(name for name in rest if name not in best)], pairings[best]


def _own_axis(rows: Rows) -> dict[Key, float]:
    where = rows.time_s if rows.timed else np.arange(len(rows), dtype=float)
    return {keys[0]: float(t) for keys, t in zip(rows.member, where, strict=True)}


def _rows_of_nodes(
    nodes: list[tuple[Key, ...]], lists: Mapping[str, Rows], axis: Mapping[Key, float]
) -> Rows:
    """Nodes as one list: mean time, and of each entry the first that is known."""
    timed = [name for name, rows in lists.items() if rows.timed]
    has_clock = any(key[0] in timed for keys in nodes for key in keys)
    time, counted = np.empty(len(nodes)), np.ones(len(nodes))
    for n, keys in enumerate(nodes):
        clocked = [axis[key] for key in keys if key[0] in timed] or [axis[key] for key in keys]
        time[n], counted[n] = sum(clocked) / len(clocked), len(clocked)
    order = np.argsort(time, kind="stable")
    nodes = [nodes[i] for i in order]
    at_node = {name: _at_node(name, rows, nodes) for name, rows in lists.items()}
    extra_sd = JITTER_SD_S * np.sqrt(1 / counted[order] - 1 / counted.max(initial=1))

    def first(column: str) -> NDArray:
        """Of each node the first entry that is known."""
        numbers = column.endswith("_mph")
        found = np.full(len(nodes), np.nan) if numbers else np.full(len(nodes), "", dtype=object)
        for name, rows in lists.items():
            values = getattr(rows, column)
            known = np.isfinite(values) if numbers else values != ""
            if not known.any():
                continue
            node, row = at_node[name]
            new = known[row] & (np.isnan(found[node]) if numbers else found[node] == "")
            found[node[new]] = values[row[new]]
        return found if numbers else found.astype(str)

    return Rows(
        member=tuple(nodes),
        time_s=time[order] if has_clock else np.full(len(nodes), np.nan),
        time_sd_s=extra_sd,
        athlete=first("athlete"),
        throws=first("throws"),
        pitch=first("pitch"),
        speed_mph=first("speed_mph"),
        clip_speed_mph=first("clip_speed_mph"),
        clip_speed_sd_mph=first("clip_speed_sd_mph"),
        seen_by=first("seen_by"),
    )


def _at_node(
    name: str, rows: Rows, nodes: list[tuple[Key, ...]]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which node holds which row of a list."""
    row = {keys[0]: i for i, keys in enumerate(rows.member)}
    pairs = [(n, row[key]) for n, keys in enumerate(nodes) for key in keys if key[0] == name]
    both = np.array(pairs, np.int64).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def _partners(
    whole: Rows, added: Rows, pairing: Pairing, words: Words, *, only_said: bool
) -> dict[int, list[int]]:
    """Node to the added rows joined to it: what a person said, then what is likely."""
    forced = words.pairs(whole, added)[0]
    partner: dict[int, list[int]] = {}
    for i, j in forced:
        partner.setdefault(i, []).append(j)
    spoken = {j for _, j in forced}
    likely = (pairing.chance > LIKELY) & (not only_said)
    for i, j in zip(pairing.i[likely].tolist(), pairing.j[likely].tolist(), strict=True):
        if i not in partner and j not in spoken:
            partner[i] = [j]
    return partner


def _placed(whole: Rows, added: Rows, pairing: Pairing, partner: Mapping[int, list[int]]) -> dict[Key, float]:
    if pairing.clocks:
        clock = pairing.clocks[0]
        where = clock.origin_s + (added.time_s - clock.origin_s - clock.offset_s) / (1 + clock.drift)
    else:
        own = whole.time_s if whole.timed else np.arange(len(whole), dtype=float)
        pairs = sorted((j, own[i]) for i, js in partner.items() for j in js)
        step = float(np.median(np.diff(own))) if len(own) > 1 else 1.0
        knots = [p[0] for p in pairs] or [0]
        values = np.maximum.accumulate([p[1] for p in pairs] or [float(own[-1]) if len(own) else 0.0])
        j = np.arange(len(added))
        beyond = np.minimum(j - knots[0], 0) + np.maximum(j - knots[-1], 0)
        where = np.interp(j, knots, values) + (beyond + 1e-3) * step
    return {keys[0]: float(t) for keys, t in zip(added.member, where, strict=True)}
