"""Clips measured in the background while the page goes on answering."""

import logging
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from release.errors import ReleaseError
from release.record.read import clips as clips_of
from release.record.write import set_aside
from release.record.write_open import Logbook
from release.session.result import Session
from release.stats.result import Comparison

log = logging.getLogger("release.page")
FAULT = "it could not be measured: a fault of this program, see its log"


# Logbook, content hash of a clip, told the name of each step of it: reading, finding release, measuring.
Step = Callable[[Logbook, str, Callable[[str], None]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """What the page asks of the rest of the tool. Each may raise a ReleaseError, which is shown as it is."""

    measure: Step
    correct: Step  # the same, at once, after a person's word on the release or arm
    drawing: Callable[[Logbook, str], Mapping[str, Any]]  # the fitted arm frame by frame, as JSON
    sheet: Callable[[Logbook, str, Path], str]  # logbook, session, file; what happened, in a sentence
    flight: Callable[[Logbook, str, Path], str]
    plan: Callable[[Logbook, str, Path], str]
    camera: Callable[[Logbook, Mapping[str, Any]], dict[str, Any]]  # a "camera marked" fact; what it tells
    link: Callable[[Logbook, str], Session]  # logbook, session
    compare: Callable[[Logbook, str, tuple[str, str]], Sequence[Comparison]]  # session, two cues
    running: Callable[[Logbook, str, tuple[str, str], str], Sequence[str]]  # session, cues, figure
    # logbook, session just linked; hashes of the clips to measure again, linking having told more of them
    again: Callable[[Logbook, str], Sequence[str]] = lambda _book, _session: ()
    close: Callable[[], None] = lambda: None


class Measuring:
    """Clips one at a time in the order asked for; corrections have a lane of their own and never queue."""

    def __init__(self, logbook: Logbook, steps: Steps) -> None:
        self.logbook, self.steps = logbook, steps
        self._clips = ThreadPoolExecutor(1, thread_name_prefix="measuring")
        self._corrections = ThreadPoolExecutor(1, thread_name_prefix="correcting")
        self._links = ThreadPoolExecutor(1, thread_name_prefix="linking")
        self._lock = Lock()
        self._waiting: dict[str, int] = {}  # clip to the number of answers still to come
        self._to_link: set[str] = set()
        self._linked: dict[str, Session] = {}
        self._times_linked: dict[str, int] = {}
        self._at: dict[str, str] = {}  # clip to the step it is at
        self._drawn_next: str | None = None
        self.last_error: str | None = None  # of linking, shown on the links page

    def step(self, sha256: str) -> str | None:
        """The step this clip is at, or "waiting"; None where no answer is still to come."""
        with self._lock:
            return self._at.get(sha256, "waiting") if sha256 in self._waiting else None

    def ask(self, sha256: str, session: str) -> None:
        """Measure this clip soon, then link its session anew."""
        self._put(self._clips, self.steps.measure, sha256, session)

    def take_up(self) -> None:
        """Ask for every clip that an earlier run left waiting."""
        clips = clips_of(self.logbook)
        left = clips[clips["state"] == "waiting"]
        for sha256, session in zip(left["sha256"], left["session"], strict=True):
            self.ask(sha256, session)

    def correct(self, sha256: str, session: str) -> None:
        """Measure this clip at once, after a person's word on it."""
        self._put(self._corrections, self.steps.correct, sha256, session)

    def drawing(self, sha256: str) -> Mapping[str, Any]:
        """The fitted arm of this clip, frame by frame; empty where another clip was asked for since."""
        with self._lock:
            self._drawn_next = sha256

        def draw() -> Mapping[str, Any]:
            return self.steps.drawing(self.logbook, sha256) if self._drawn_next == sha256 else {}

        return self._corrections.submit(draw).result()

    def linked(self, session: str) -> Session:
        """The session as last linked, with the candidates of what is doubtful."""
        with self._lock:
            known = self._linked.get(session)
        return known or self._link(session)

    def relink(self, session: str) -> "Future[None]":
        """Link a session anew, once for however many asked while it waited."""
        with self._lock:
            self._to_link.add(session)
        return self._links.submit(self._relink, session)

    def times_linked(self, session: str) -> int:
        """How often a session was linked since the page was started."""
        with self._lock:
            return self._times_linked.get(session, 0)

    def close(self) -> None:
        """Finish what is in hand and drop the rest; it is still 'waiting' in the logbook."""
        for pool in (self._clips, self._corrections, self._links):
            pool.shutdown(cancel_futures=True)
        self.steps.close()

    def _put(self, pool: ThreadPoolExecutor, step: Step, sha256: str, session: str) -> None:
        with self._lock:
            self._waiting[sha256] = self._waiting.get(sha256, 0) + 1
        pool.submit(self._measure, step, sha256, session)

    def _measure(self, step: Step, sha256: str, session: str) -> None:
        def told(name: str) -> None:
            with self._lock:
                self._at[sha256] = name

        try:
            step(self.logbook, sha256, told)
            self.relink(session)
        except ReleaseError as error:
            log.warning("clip %s set aside: %s", sha256[:12], error)
            set_aside(self.logbook, sha256, str(error))
        except Exception:  # a clip that breaks a stage must not stop the clips after it
            log.exception("clip %s set aside", sha256[:12])
            set_aside(self.logbook, sha256, FAULT)
        finally:
            with self._lock:
                self._at.pop(sha256, None)
                self._waiting[sha256] -= 1
                if not self._waiting[sha256]:
                    del self._waiting[sha256]

    def _relink(self, session: str) -> None:
        with self._lock:
            if session not in self._to_link:
                return
            self._to_link.discard(session)
        try:
            self._link(session)
            for sha256 in self.steps.again(self.logbook, session):
                self.ask(sha256, session)
            self.last_error = None
        except ReleaseError as error:
            self.last_error = str(error)
        except Exception:  # the page goes on without links
            log.exception("session %s not linked", session[:12])
            self.last_error = "linking failed: a fault of this program, see its log"

    def _link(self, session: str) -> Session:
        found = self.steps.link(self.logbook, session)
        with self._lock:
            self._linked[session] = found
            self._times_linked[session] = self._times_linked.get(session, 0) + 1
        return found
