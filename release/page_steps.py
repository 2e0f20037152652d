"""What the review page asks of the rest of the tool, measured in processes of its own.

One process measures the clips taken in, a second one answers corrections, so that a person never waits for
a queue. What the networks read of a clip is kept in memory: after a dragged landmark only the fit is redone.
"""

import os
from collections import OrderedDict
from collections.abc import Callable, Generator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock
from typing import Any

from release.apart import Apart
from release.clip_settings import key_of, settings_for
from release.clock_fill import fill_clocks
from release.drawn_arm import drawn_arm
from release.errors import ReleaseError
from release.instant.result import ReleaseInstant
from release.logbook import (
    Entered,
    enter_flights,
    enter_plan,
    enter_sheet,
    link_logbook,
    measurement_of,
    pairs_to_fit,
    store_measured,
)
from release.marked_camera import camera_answer
from release.pipeline import ThrowMeasurement
from release.record import write
from release.record.result import MeasurementKey
from release.record.write_open import Logbook
from release.settings import Settings
from release.stats.result import Comparison
from release.suggest.read_words import Words
from release.throw_search import Close
from release.two_phones import asked_together, kept_apart, measuring_together
from release.views.web.read_session import Row, read_clip_place
from release.views.web.serve_measuring import Steps

BEHIND = 5  # niceness of the process that measures what was taken in
Told = Callable[[str], None]
MOST_KEPT = 300  # clips whose readings stay in memory, some 0.1 MB each


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What the networks read of one clip, without its pictures."""

    close: Close
    release: ReleaseInstant


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One measured clip, with what is needed to answer faster the next time."""

    measured: ThrowMeasurement
    readings: Readings | None
    drawing: Mapping[str, Any]
    refitted: bool  # from readings kept: there is no picture in it


def page_steps(words: Words | None = None) -> Steps:
    """The steps of a page; the processes end when the page closes them.

    Args:
        words: The facility's, in which cues are compared.
    """

    def compare(logbook: Logbook, session: str, cues: tuple[str, str]) -> list[Comparison]:
        from release.page_answers import cue_comparisons  # with what it loads, tens of MB

        return cue_comparisons(logbook, session, cues, words=words)

    def running(logbook: Logbook, session: str, cues: tuple[str, str], figure: str) -> list[str]:
        from release.page_answers import running_answer

        return running_answer(logbook, session, cues, figure, words=words)

    working = Working()
    return Steps(
        measure=working.measure,
        correct=working.correct,
        drawing=working.drawing,
        sheet=lambda logbook, session, file: said_of(enter_sheet(logbook, file, session)),
        flight=lambda logbook, session, file: said_of(enter_flights(logbook, file, session)),
        plan=plan_kept,
        camera=camera_answer,
        compare=compare,
        running=running,
        link=link_logbook,
        again=to_measure_again,
        close=working.close,
    )


def to_measure_again(logbook: Logbook, session: str) -> list[str]:
    """Hashes of the clips of which linking told more: their clock, or another phone's clip of the throw."""
    return [*dict.fromkeys([*fill_clocks(logbook, session), *pairs_to_fit(logbook, session)])]


def plan_kept(logbook: Logbook, session: str, file: Path) -> str:
    """Keep the plan by which the session's cues were drawn."""
    enter_plan(logbook, file, session)
    return "the plan is kept: cues are compared as it drew them"


def said_of(entered: Entered) -> str:
    """What became of a table, in a sentence."""
    rows = [f"{entered.new} rows taken in"]
    rows += [f"{entered.changed} changed"] if entered.changed else []
    aside = [f"row {one.row} ({one.key or 'no name'}): {one.why}" for one in entered.set_aside]
    rows += [f"set aside: {'; '.join(aside[:5])}"] if aside else []
    rows += [f"and {len(aside) - 5} more"] if len(aside) > 5 else []
    return ", ".join([*rows, *entered.notes])


class Working:
    """The two processes, and what is remembered of the clips they measured."""

    def __init__(self) -> None:
        self._clips, self._corrections = Apart(), Apart()
        self._kept: OrderedDict[tuple[str, Settings], tuple[Readings, Mapping[str, Any]]] = OrderedDict()
        self._lock = Lock()

    def measure(self, logbook: Logbook, sha256: str, told: Told | None = None) -> None:
        """Measure a clip that was taken in; `told` hears of each step as it begins."""
        self._answer(self._clips, logbook, sha256, told)

    def correct(self, logbook: Logbook, sha256: str, told: Told | None = None) -> None:
        """Measure a clip anew, after a person's word."""
        self._answer(self._corrections, logbook, sha256, told)

    def drawing(self, logbook: Logbook, sha256: str) -> Mapping[str, Any]:
        """The fitted arm frame by frame; read again where it is not remembered."""
        clip = read_clip_place(logbook, sha256)
        if clip is None or clip["state"] != "measured":
            return {}
        settings = replace(settings_for(logbook, clip["session"], sha256)[0], partner=None)
        path = logbook.clips / f"{sha256}{clip['ext']}"
        _, drawing = self._remembered(sha256, settings)
        if drawing is not None:
            self._corrections.ask(stand_by, about=path)  # a correction may come next
            return drawing
        answer = self._corrections.ask(answered, path, settings, None, about=path)
        self._remember(sha256, settings, answer)
        return answer.drawing

    def close(self) -> None:
        """End both processes."""
        self._clips.stop()
        self._corrections.stop()

    def _answer(self, process: Apart, logbook: Logbook, sha256: str, told: Told | None) -> None:
        clip = read_clip_place(logbook, sha256)
        assert clip is not None, "asked for by a page that shows it"
        settings, edits = settings_for(logbook, clip["session"], sha256)
        alone = replace(settings, partner=None)
        if process is self._corrections:
            settings = alone  # a person waits for it; both phones' clips are fitted once it is linked anew
        key = key_of(sha256, settings, edits)
        if settings.partner is not None and clip["measurement"] == key.text:
            return  # asked for twice
        path = logbook.clips / f"{sha256}{clip['ext']}"
        step = answered_behind if process is self._clips else answered
        readings, _ = self._remembered(sha256, alone)

        def ask(asked: Settings) -> Answer:
            return process.ask(step, path, asked, readings, about=path, told=told)

        answer = _asked(ask, settings)
        if replace(settings_for(logbook, clip["session"], sha256)[0], partner=None) != alone:
            return  # a person has said more since, and that answer is on its way
        self._store(logbook, clip, settings, key, answer)
        if isinstance(answer, Answer):
            self._remember(sha256, alone, answer)

    def _store(
        self, logbook: Logbook, clip: Row, settings: Settings, key: MeasurementKey, answer: Answer | str
    ) -> None:
        if isinstance(answer, str):
            store_measured(logbook, clip, settings, key, answer)
        elif not answer.refitted:
            store_measured(logbook, clip, settings, key, answer.measured)
        else:  # the same frame as before, so the same picture
            before = logbook.frames / f"{clip['measurement']}.jpg"
            picture = before.read_bytes() if before.is_file() else None
            kept = measurement_of(answer.measured, key, settings)
            write.save_measurement(logbook, replace(kept, picture_jpeg=picture))

    def _remembered(
        self, sha256: str, settings: Settings
    ) -> tuple[Readings | None, Mapping[str, Any] | None]:
        """Readings as the networks made them, and the drawing for these very settings."""
        with self._lock:
            readings = self._kept.get((sha256, read_by(settings)))
            drawn = self._kept.get((sha256, settings))
        return readings[0] if readings else None, drawn[1] if drawn else None

    def _remember(self, sha256: str, settings: Settings, answer: Answer) -> None:
        if answer.readings is None:
            return
        with self._lock:
            self._kept[sha256, settings] = (answer.readings, answer.drawing)
            self._kept.setdefault((sha256, read_by(settings)), (answer.readings, answer.drawing))
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)


def _asked(ask: Callable[[Settings], Answer], settings: Settings) -> Answer | str:
    """The answer, or why there is none; a clip whose pair cannot be fitted is asked for by itself."""
    try:
        answer, alone = asked_together(ask, settings)
    except ReleaseError as error:
        return str(error)
    if settings.partner is None or alone is None:
        return answer
    return replace(answer, measured=kept_apart(answer.measured, settings.partner, alone))


def read_by(settings: Settings) -> Settings:
    """The settings on which the networks' readings depend: pins, camera and view come in with the fit."""
    return replace(settings, pins=(), camera=None, view=None)


def stand_by() -> None:
    """Asked of a process, this starts it."""


def answered(path: Path, settings: Settings, readings: Readings | None) -> Generator[str, None, Answer]:
    """Measure one clip, in a process of its own; yields the name of each step as it begins.

    Raises:
        ClipError: It cannot be read as a video.
    """
    found = None if readings is None else (readings.close, readings.release)
    answer = yield from measuring_together(path, settings, found=found)
    if answer.found is None or answer.fitted is None:
        return Answer(measured=answer.measured, readings=None, drawing={}, refitted=False)
    (close, release), fitted = answer.found, answer.fitted
    drawing = drawn_arm(fitted.arm, fitted.window, close.frame_index[fitted.rows])
    if readings is not None:
        return Answer(measured=answer.measured, readings=readings, drawing=drawing, refitted=True)
    kept = Readings(close=close, release=release)
    return Answer(measured=answer.measured, readings=kept, drawing=drawing, refitted=False)


def answered_behind(
    path: Path, settings: Settings, readings: Readings | None
) -> Generator[str, None, Answer]:
    """The same, giving way to the page and to corrections."""
    with suppress(AttributeError):  # Windows knows no niceness
        if os.nice(0) < BEHIND:
            os.nice(BEHIND)
    return (yield from answered(path, settings, readings))
