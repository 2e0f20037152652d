"""Unknown clocks of a session's clips, filled in where the ball's flight tells them."""

from collections.abc import Collection

from sqlalchemy import select

from release.clip.read import read_clip
from release.clip.timing import frame_interval_s
from release.clip_settings import settings_for
from release.clock_check import clock_checks
from release.record import read, schema
from release.record.result import digest
from release.record.write import add_fact
from release.record.write_open import Logbook

WHO = "clock check"


def fill_clocks(logbook: Logbook, session: str) -> list[str]:
    """Write down the capture rate of each clip whose clock nothing but its ball's flight tells.

    The fact is like a person's: a person's word holds over it, and once taken back it is not written again.

    Args:
        logbook: Where.
        session: Its id; measured and linked.

    Returns:
        Hashes of the clips for which it was written now; they are to be measured again.
    """
    links = read.links(logbook, session).query("state == 'linked'")
    balls = links.merge(read.flights(logbook, session), on="flight")
    answers = read.measurements(logbook, session)
    checks = clock_checks(balls, {clip: answer["time_base"] for clip, answer in answers.items()})
    told = {clip: one.slowdown for clip, one in checks.items() if one.verdict == "fills" and one.slowdown}
    before = _written_before(logbook, told)
    ext = read.clips(logbook, session).set_index("sha256")["ext"]
    filled = []
    for clip, slowdown in told.items():
        if _fact_id(clip) in before or settings_for(logbook, session, clip)[0].capture_fps is not None:
            continue
        interval_s, _ = frame_interval_s(read_clip(logbook.clips / f"{clip}{ext[clip]}").presentation_s)
        rate = {"capture_fps": slowdown / interval_s}
        add_fact(logbook, "time base set", who=WHO, fact=_fact_id(clip), clip=clip, value=rate)
        filled.append(clip)
    return filled


def filled_clips(logbook: Logbook, session: str) -> set[str]:
    """Hashes of the clips whose clock, as it is now, was filled in so."""
    latest = {
        f["clip"]: f["who"] for f in read.facts(logbook, session=session) if f["kind"] == "time base set"
    }
    return {clip for clip, who in latest.items() if who == WHO}


def _fact_id(clip: str) -> str:
    return digest([WHO, clip])[:32]


def _written_before(logbook: Logbook, clips: Collection[str]) -> set[str]:
    """Ids of the facts there are of these clips, also of those taken back."""
    fact = schema.facts.c.fact
    return set(read.table(logbook, select(fact).where(fact.in_([_fact_id(clip) for clip in clips])))["fact"])
