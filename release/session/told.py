"""What a person is told of each row: what it is linked to, how surely and why, or what it could be."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from release.session.evidence import SEEN_OFF, SPEED_SEEN
from release.session.join import Joined
from release.session.pairing import Pairing
from release.session.result import Candidate, LinkedRow
from release.session.rows import Rows
from release.session.spoken import ID, Key, Words

THRESHOLD = 0.99
WORTH_ASKING = 0.02  # candidates less likely than this are not put to a person
ALONE_BELOW = 0.05  # a row whose candidates sum to less stands alone
MOST_CANDIDATES = 3
NOTHING = 1e-6  # a match less likely than this is not told of
WORTH_SAYING = 0.1  # log likelihood ratio
NAMES = {"throws": "throwing hand"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """One node of the other lists that a row may belong to."""

    keys: tuple[Key, ...]
    probability: float
    reasons: Mapping[str, float]


def rows_told(
    joined: Joined, settled: Mapping[str, tuple[Rows, Rows, Pairing]], words: Words
) -> tuple[LinkedRow, ...]:
    """The rows to hand on, in order thrown as well as it is known; those marked as extra come last."""
    matches: dict[Key, list[Match]] = {}
    for name, (others, own, pairing) in settled.items():
        matches |= _matches(
            others, own, pairing, joined.clocks[name].weight if name in joined.clocks else 1.0
        )
    for name, (others, pairing) in joined.unplaced.items():
        matches |= _matches(others, joined.lists[name], pairing, 1.0)
    rows = [row for keys in joined.nodes for row in _node_rows(keys, matches, words)]
    held = {key for keys in joined.nodes for key in keys}
    open_ = [keys[0] for name in joined.unplaced for keys in joined.lists[name].member if keys[0] not in held]
    rows += [_single(key, matches, words) for key in open_]
    rows += [_row([key], words, 1.0, "alone", "marked as extra", ()) for key in sorted(words.extras)]
    return tuple(rows)


def _matches(others: Rows, own: Rows, pairing: Pairing, weight: float) -> dict[Key, list[Match]]:
    found: dict[Key, list[Match]] = {keys[0]: [] for keys in own.member}
    for k in np.flatnonzero(pairing.chance * weight > NOTHING):
        reasons = {name: float(values[k]) for name, values in pairing.reasons.items()}
        match = Match(
            keys=others.member[pairing.i[k]], probability=float(pairing.chance[k]) * weight, reasons=reasons
        )
        found[own.member[pairing.j[k]][0]].append(match)
    return {key: sorted(each, key=lambda match: -match.probability) for key, each in found.items()}


def _node_rows(keys: tuple[Key, ...], matches: Mapping[Key, list[Match]], words: Words) -> list[LinkedRow]:
    """A node's rows: what is certain of it together (one row per clip), what is not by itself."""
    own: dict[Key, Match] = {}
    for key in keys:
        rest = {other for other in keys if other != key}
        match = next((match for match in matches[key] if set(match.keys) == rest), None)
        if words.said(key, rest):
            match = Match(keys=tuple(rest), probability=1.0, reasons=match.reasons if match else {})
        if match and match.probability >= THRESHOLD:
            own[key] = match
    if len(own) < 2:
        return [_single(key, matches, words) for key in keys]
    # A row of k members has k - 1 links to be right about: all but the surest member's.
    chance = float(np.prod(sorted(match.probability for match in own.values())[:-1]))
    runners = sorted(
        (match for key in own for match in matches[key] if not set(match.keys) & set(own)),
        key=lambda match: -match.probability,
    )
    why = "; ".join(_because(key, own[key], words, set(own)) for key in own) + _runner_up(runners, words)
    why += "".join(_rejected(key, words) for key in own)
    candidates = tuple(_candidate(match, words) for match in runners[:MOST_CANDIDATES])
    clips = [key for key in own if key[0].startswith("clips")]
    rest_keys = [key for key in own if not key[0].startswith("clips")]
    rows = [
        _row([*each, *rest_keys], words, chance, "linked", why, candidates) for each in ([c] for c in clips)
    ]
    if not clips:
        rows = [_row(rest_keys, words, chance, "linked", why, candidates)]
    return rows + [_single(key, matches, words) for key in keys if key not in own]


def _single(key: Key, matches: Mapping[Key, list[Match]], words: Words) -> LinkedRow:
    found = matches.get(key, [])
    total = sum(match.probability for match in found)
    found = sorted(
        (_as_a_whole(match, matches, words) for match in found), key=lambda each: -each.probability
    )
    asked = [match for match in found if match.probability >= WORTH_ASKING][:MOST_CANDIDATES]
    if asked and total >= ALONE_BELOW:
        why = "could be " + " or ".join(
            f"{_named(match.keys, words)} ({match.probability:.2f}: {evidence_in_words(match.reasons)})"
            for match in asked
        )
        candidates = tuple(_candidate(match, words) for match in asked)
        why += _rejected(key, words)
        return _row([key], words, min(asked[0].probability, 1.0), "asked", why, candidates)
    near = f"; the likeliest was {_named(found[0].keys, words)} ({found[0].probability:.2g})" if found else ""
    why = "nothing in the other lists fits" + near + _rejected(key, words)
    return _row([key], words, 1 - min(1.0, total), "alone", why, ())


def _as_a_whole(match: Match, matches: Mapping[Key, list[Match]], words: Words) -> Match:
    """With the probability that what it matches belongs together too."""
    sure = 1.0
    if len(match.keys) > 1 and not any(words.said(key, set(match.keys) - {key}) for key in match.keys):
        sure = max(
            sum(
                other.probability
                for other in matches.get(key, ())
                if set(match.keys) - {key} <= set(other.keys)
            )
            for key in match.keys
        )
    return replace(match, probability=match.probability * min(sure, 1.0))


def _row(
    keys: Sequence[Key],
    words: Words,
    probability: float,
    state: Literal["linked", "asked", "alone"],
    why: str,
    candidates: tuple[Candidate, ...],
) -> LinkedRow:
    named = {ID[key[0].split()[0]]: words.ids[key] for key in keys}
    return LinkedRow(
        clip=named.get("clip"),
        throw=named.get("throw"),
        flight=named.get("flight"),
        probability=probability,
        state=state,
        why=why,
        candidates=candidates,
    )


def _candidate(match: Match, words: Words) -> Candidate:
    named = {ID[key[0].split()[0]]: words.ids[key] for key in match.keys}
    return Candidate(
        clip=named.get("clip"),
        throw=named.get("throw"),
        flight=named.get("flight"),
        probability=match.probability,
        why=evidence_in_words(match.reasons),
    )


def _named(keys: Sequence[Key], words: Words) -> str:
    return " with ".join(f"{ID[key[0].split()[0]]} {words.ids[key]}" for key in keys)


def _because(key: Key, match: Match, words: Words, linked: set[Key]) -> str:
    said = words.said(key, linked - {key})
    return f"{_named([key], words)}: {'a person said so' if said else evidence_in_words(match.reasons)}"


def _rejected(key: Key, words: Words) -> str:
    said = words.not_with(key)
    return (
        f"; a person said that it is not {' nor '.join(_named([one], words) for one in said)}" if said else ""
    )


def _runner_up(runners: Sequence[Match], words: Words) -> str:
    if not runners:
        return "; no runner-up"
    return f"; the runner-up was {_named(runners[0].keys, words)} ({runners[0].probability:.2g})"


def evidence_in_words(reasons: Mapping[str, float]) -> str:
    """What speaks for and against a pair, strongest first; `reasons` are log likelihood ratios."""
    apart = reasons.get("apart_s")
    if apart is None:
        words = ["by order alone, without times"]
    else:
        words = ["on another reading of the clocks" if np.isnan(apart) else f"{abs(apart):.1f} s apart"]
    entries = [
        (name, ratio)
        for name, ratio in reasons.items()
        if name not in ("apart_s", SEEN_OFF) and abs(ratio) > WORTH_SAYING
    ]
    for name, ratio in sorted(entries, key=lambda entry: -abs(entry[1])):
        off = f" ({abs(reasons[SEEN_OFF]):.1f} mph off)" if name == SPEED_SEEN else ""
        words.append(f"{NAMES.get(name, name)} {'fits' if ratio > 0 else 'speaks against it'}{off}")
    return ", ".join(words)
