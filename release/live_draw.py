"""A live session in a logbook: its seed is drawn once and kept, so that every look keeps to one draw."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import NAMESPACE_OID, uuid5

from release.errors import NoSuchAthlete
from release.logbook import linked_table
from release.record import read
from release.record.read_session import session_table
from release.record.write import add_fact, session_for
from release.record.write_open import Logbook
from release.session_report import checked_throws
from release.stats.earlier import noise_of_table
from release.stats.live_table import LiveSession, NotLive, live_session, two_cues
from release.stats.read_throws import ThrowTable
from release.stats.result import Noise

KIND = "live drawn"
SEEDS = 2**31


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveDraw:
    """Whose cues are drawn."""

    session: str  # its id
    athlete: str
    pitch: str
    cues: tuple[str, str]  # in the order first given, which stays
    seed: int


def live_in_logbook(
    logbook: Logbook,
    session: str | None,
    athlete: str,
    pitch: str,
    cues: Sequence[str],
    figure: str,
    *,
    seed: int | None = None,
    worth: float | None = None,
) -> LiveSession:
    """What is known so far of one athlete's pitch, and the next cue; draws and keeps the seed the first time.

    The athlete's sessions of days before, where there are enough, tell the scatter that bets are made for.

    Args:
        logbook: Where.
        session: Its name or id; None for today's.
        athlete: The code.
        pitch: The pitch.
        cues: The two cues, the usual one first; throws with neither are passed over.
        figure: The figure watched.
        seed: To draw again exactly as a session was drawn elsewhere; None for one of its own.
        worth: The smallest change worth having.

    Raises:
        NoSuchAthlete: The code is not in the logbook.
        NotLive: See `live_session`; or the session was begun with another seed, or before any was drawn.
    """
    if athlete not in set(read.roster(logbook)["athlete"]):
        raise NoSuchAthlete(athlete)
    cues, where = two_cues(cues), session_for(logbook, session)
    table = linked_table(logbook, where)
    own = table[(table["athlete"] == athlete) & (table["pitch"] == pitch) & table["cue"].isin(cues)]
    draw = kept_draw(logbook, where, athlete, pitch, cues)
    if draw is None and seed is None and len(own):  # some would match a later draw by chance
        raise NotLive(
            f"{len(own)} throws with these cues were thrown before any was drawn; begin a new session"
        )
    draw = draw or _drawn(logbook, where, athlete, pitch, cues, seed)
    if seed not in (None, draw.seed):
        raise NotLive(f"this live session was begun with seed {draw.seed}, and one session has one draw")
    thrown = checked_throws(own) if len(own) else None
    return live_session(thrown, draw.cues, figure, draw.seed, worth, earlier_noise(logbook, draw, figure))


def live_in_table(
    table: ThrowTable | None,
    cues: Sequence[str],
    figure: str,
    *,
    seed: int | None = None,
    worth: float | None = None,
    earlier: ThrowTable | None = None,
) -> LiveSession:
    """The same from tables, which cannot keep the seed: without throws it is drawn, with them it is needed.

    Raises:
        NotLive: See `live_session`; or there are throws, and the seed is not named.
    """
    if seed is None and table is not None:
        raise NotLive(
            "name with --seed the seed that the first call drew and told; by it the throws are judged"
        )
    noise = noise_of_table(earlier, None, None, figure) if earlier else None
    return live_session(table, cues, figure, secrets.randbelow(SEEDS) if seed is None else seed, worth, noise)


def kept_draw(
    logbook: Logbook, session: str, athlete: str, pitch: str, cues: Sequence[str]
) -> LiveDraw | None:
    """The draw kept for these two cues, in either order; None where there is none."""
    kept = kept_draws(logbook, session, athlete, pitch)
    return next((draw for draw in kept if set(draw.cues) == set(cues)), None)


def kept_draws(logbook: Logbook, session: str, athlete: str, pitch: str) -> list[LiveDraw]:
    """Every draw kept for one athlete's pitch in a session (its id), oldest first."""
    about = {"session": session, "athlete": athlete, "pitch": pitch}
    values = [
        fact["value"]
        for fact in read.facts(logbook, session=session)
        if fact["kind"] == KIND and fact["athlete"] == athlete and fact["value"]["pitch"] == pitch
    ]
    return [LiveDraw(**about, cues=tuple(value["cues"]), seed=value["seed"]) for value in values]


def earlier_noise(logbook: Logbook, draw: LiveDraw, figure: str) -> Noise | None:
    """How the athlete's pitch scattered on days before; None where nothing is known."""
    table = session_table(logbook, athlete=draw.athlete)
    day = read.sessions(logbook).set_index("session").loc[draw.session, "day"]
    earlier = table[(table["pitch"] == draw.pitch) & (table["day"] < day)]
    if earlier.empty or figure not in earlier or earlier[figure].isna().all():
        return None
    return noise_of_table(checked_throws(earlier), None, None, figure)


def _drawn(
    logbook: Logbook, session: str, athlete: str, pitch: str, cues: Sequence[str], seed: int | None
) -> LiveDraw:
    """Draw and keep; of two who draw at once the first is kept, since both write under one key."""
    key = uuid5(NAMESPACE_OID, "\n".join(["live", session, athlete, pitch, *sorted(cues)])).hex
    value = {"pitch": pitch, "cues": list(cues), "seed": secrets.randbelow(SEEDS) if seed is None else seed}
    add_fact(logbook, KIND, who="release live", fact=key, session=session, athlete=athlete, value=value)
    kept = kept_draw(logbook, session, athlete, pitch, cues)
    assert kept is not None
    return kept
