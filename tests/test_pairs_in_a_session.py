"""A throw of a session that two phones saw: which clips are fitted together, when, and what comes of it."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from release import logbook as job
from release.batch import MeasuredFile
from release.cli import app
from release.clip.result import TimeBase
from release.clip_settings import key_of, settings_for
from release.orientation.measure import refused
from release.pipeline import ThrowMeasurement
from release.record import read, write
from release.record.read_session import session_table
from release.record.write_clips import add_clips
from release.record.write_open import new_logbook
from release.session_report import write_session_report
from release.settings import Partner, Settings
from release.views.web.pages import card
from release.views.web.read_session import read_session as read_rows
from tests.record.filled import measured as made_up

MARKS = {"view": "", "marks": [{"name": "plate point", "x_px": 10.0, "y_px": 20.0}]}
BOTH = "From both phones: one arm fitted to clip_0.mp4 and clip_1.mp4"
LINKED = {"throw": 1, "flight": None, "probability": 0.999, "state": "linked", "why": "time"}
SHEET = "throw,athlete,throws,pitch,cue\n1,A1,R,slider,long arm\n"


def answered(path: Path, settings: Settings, apart: str | None = None) -> MeasuredFile:
    """What a worker would answer: figures of 1 degree by one clip, of 2, but one refused, by two."""
    seen = made_up("x")
    figures = seen.orientation.figures
    if settings.partner is not None and apart is None:
        figures = {name: replace(figure, value=2.0) for name, figure in figures.items()}
        figures["palm_turn"] = refused("too wide")
    clip = type("Clip", (), {"time_base": seen.time_base, "created": None, "path": path})()
    measured = ThrowMeasurement(
        clip=clip,
        throws="R",
        release=seen.release,
        orientation=replace(seen.orientation, figures=figures),
        refused=None,
        picture=None,
        picture_frame_index=None,
        points_px={},
        over_time=None,
        models={},
        partner=settings.partner and settings.partner.path.name,
        apart=settings.partner and apart,
    )
    return MeasuredFile(path=path, measured=measured, why=None)


class Workers:
    """Stands for the processes that measure; remembers what they were asked."""

    def __init__(self):
        self.asked: list[tuple[str, Settings]] = []
        self.apart: str | None = None
        self.killed = False

    def measure_many(self, paths, settings, **_):
        for path in paths:
            if self.killed:
                raise KeyboardInterrupt
            self.asked.append((path.stem, settings[path]))
            yield answered(path, settings[path], self.apart)

    def taken(self) -> list[str]:
        clips, self.asked = [clip for clip, _ in self.asked], []
        return clips


@pytest.fixture
def workers(monkeypatch):
    stand_in = Workers()
    monkeypatch.setattr(job, "measure_many", stand_in.measure_many)
    return stand_in


@pytest.fixture
def book(tmp_path):
    (tmp_path / "sheet.csv").write_text(SHEET, encoding="utf-8")
    logbook = new_logbook(tmp_path / "book")
    yield logbook
    logbook.engine.dispose()


def filmed(book, folder, *, phones=("left", "right"), marked=("left", "right")):
    """A session of one throw with a clip by each phone, measured alone; its id and the clips' hashes."""
    session = write.session_for(book, "barn")
    job.enter_sheet(book, folder / "sheet.csv", session)
    clips = []
    for number, phone in enumerate(phones):
        path = folder / f"clip_{number}.mp4"
        path.write_bytes(f"clip {number}".encode() * 50)
        (taken,) = add_clips(book, [path], session, camera=phone)
        clips.append(taken.sha256)
    for phone in marked:
        value = MARKS | {"camera": phone}
        write.add_fact(book, "camera marked", who="coach", session=session, value=value)
    job.measure_logbook(book, session)
    write.save_links(book, session, [{"clip": clip, **LINKED} for clip in clips])
    return session, clips


def test_once_linked_the_first_clip_is_measured_with_the_other_phones_and_nothing_twice(
    book, tmp_path, workers
):
    session, (first, second) = filmed(book, tmp_path)
    assert workers.taken() == [first, second]
    assert job.pairs_to_fit(book, session) == [first]
    job.measure_logbook(book, session)
    ((clip, settings),) = workers.asked
    assert clip == first
    theirs = settings.partner.settings
    assert settings.partner == Partner(path=(book.clips / f"{second}.mp4").absolute(), settings=theirs)
    assert theirs == settings_for(book, session, second)[0]
    workers.taken()
    job.measure_logbook(book, session)
    assert (workers.taken(), job.pairs_to_fit(book, session)) == ([], [])


def test_a_run_that_was_killed_before_the_pair_goes_on_with_the_pair_only(book, tmp_path, workers):
    session, (first, _) = filmed(book, tmp_path)
    workers.taken()
    workers.killed = True
    with pytest.raises(KeyboardInterrupt):
        job.measure_logbook(book, session)
    workers.killed = False
    assert job.pairs_to_fit(book, session) == [first]
    job.measure_logbook(book, session)
    assert workers.taken() == [first]


@pytest.mark.parametrize("command", ["measure", "report"])
def test_the_commands_link_what_several_phones_filmed_and_then_fit_the_pairs(
    book, tmp_path, workers, command
):
    session, clips = filmed(book, tmp_path)
    _link_by_hand(book, session, clips)
    given = ["--again"] if command == "measure" else ["--out", str(tmp_path / "out")]
    write.save_links(book, session, [])
    workers.taken()
    told = CliRunner().invoke(app, [command, str(book.folder), *given], catch_exceptions=False)
    assert told.exit_code == 0, told.output
    assert "throws seen by two phones: 1 clips are measured again" in told.output
    assert workers.asked[-1][0] == clips[0]
    assert workers.asked[-1][1].partner is not None
    (row,) = session_table(book, session).to_dict("records")
    assert row["second_clip"] == "clip_1.mp4"


def test_the_throw_takes_the_figures_of_both_clips(book, tmp_path, workers):
    session, (first, _) = filmed(book, tmp_path)
    job.measure_logbook(book, session)
    (row,) = session_table(book, session).to_dict("records")
    assert (row["clip"], row["second_clip"], row["wrist_flexion_deg"]) == (first, "clip_1.mp4", 2.0)


def test_clips_that_do_not_fit_keep_what_each_measured_and_the_report_says_why(book, tmp_path, workers):
    session, clips = filmed(book, tmp_path)
    workers.apart = "the two clips do not show one throw"
    job.measure_logbook(book, session)
    (row,) = session_table(book, session).to_dict("records")
    assert row["wrist_flexion_deg"] == 1.0
    assert pd.isna(row["second_clip"])
    assert job.pairs_to_fit(book, session) == [], "it is not tried again"
    assert read.measurement(book, clips[0])["apart"] == workers.apart
    _link_by_hand(book, session, clips)
    page = write_session_report(book, session, tmp_path / "out").read_text(encoding="utf-8")
    assert f"clip_0.mp4 and clip_1.mp4 were not fitted together: {workers.apart}." in page


def test_the_report_says_which_throws_were_fitted_from_two_phones(book, tmp_path, workers):
    session, clips = filmed(book, tmp_path)
    job.measure_logbook(book, session)
    _link_by_hand(book, session, clips)
    page = write_session_report(book, session, tmp_path / "out").read_text(encoding="utf-8")
    assert "Two phones: one arm was fitted to both clips of throw 1." in page
    assert page.count(BOTH) == 1, "and so does the throw's card"
    assert "second_clip" in (tmp_path / "out" / "throws.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize("apart", [None, "the two clips do not show one throw"])
def test_on_the_page_the_card_of_the_first_clip_alone_says_that_its_figures_come_from_both(
    book, tmp_path, workers, apart
):
    session, (first, _) = filmed(book, tmp_path)
    workers.apart = apart
    job.measure_logbook(book, session)
    clips = read_rows(book, session).clips
    said = {clip.sha256: card(clip, {}).both for clip in clips if card(clip, {}).both}
    assert said == ({} if apart else {first: BOTH})


def _link_by_hand(book, session, clips):
    for clip in clips:  # times tell nothing here, and the report links anew
        write.add_fact(book, "link confirmed", who="coach", session=session, clip=clip, throw=1)


def test_a_persons_word_on_either_clip_asks_for_the_pair_anew(book, tmp_path, workers):
    session, (first, second) = filmed(book, tmp_path)
    job.measure_logbook(book, session)
    workers.taken()
    write.add_fact(book, "release set", who="coach", clip=second, value={"frame_index": 41})
    job.measure_logbook(book, session)
    assert {clip: s.partner and s.partner.settings.release_frame for clip, s in workers.asked} == {
        first: 41.0,
        second: None,
    }
    workers.taken()
    write.add_fact(book, "release set", who="coach", clip=first, value={"frame_index": 40})
    job.measure_logbook(book, session)
    ((clip, settings),) = workers.asked
    assert (clip, settings.release_frame, settings.partner.settings.release_frame) == (first, 40.0, 41.0)


@pytest.mark.parametrize("said", ["unlinked", "rejected"])
def test_clips_that_are_no_pair_any_more_have_their_own_answers_back_without_measuring(
    book, tmp_path, workers, said
):
    session, (first, second) = filmed(book, tmp_path)
    before = read.measurement(book, first)["measurement"]
    job.measure_logbook(book, session)
    workers.taken()
    if said == "unlinked":
        write.save_links(book, session, [{"clip": first, **LINKED}])
    else:
        write.add_fact(book, "clip rejected", who="coach", clip=second, value={"why": "another throw"})
    assert job.pairs_to_fit(book, session) == [first]
    job.measure_logbook(book, session)
    assert workers.taken() == []
    assert read.measurement(book, first)["measurement"] == before


@pytest.mark.parametrize(
    "case", ["one phone", "a phone without marks", "an unknown clock", "a link that is asked", "refused"]
)
def test_what_is_no_pair_is_left_as_it_is(book, tmp_path, workers, case):
    phones = ("left", "left") if case == "one phone" else ("left", "right")
    marked = ("left",) if case == "a phone without marks" else ("left", "right")
    session, (first, second) = filmed(book, tmp_path, phones=phones, marked=marked)
    if case == "an unknown clock":
        seen = made_up(second, models="other")
        base = TimeBase(slowdown=None, source="unknown", why="")
        write.save_measurement(book, replace(seen, time_base=base))
    if case == "a link that is asked":
        rows = [{"clip": first, **LINKED}, {"clip": second, **LINKED, "state": "asked"}]
        write.save_links(book, session, rows)
    if case == "refused":
        write.save_measurement(book, replace(made_up(second, models="other"), refused="no throw is seen"))
    assert job.pairs_to_fit(book, session) == []
    assert settings_for(book, session, first)[0].partner is None


def test_two_clips_of_one_phone_are_no_pair_but_either_may_be_one_with_another_phones(
    book, tmp_path, workers
):
    session, clips = filmed(book, tmp_path, phones=("left", "left", "right"))
    (first,) = job.pairs_to_fit(book, session)
    assert first == min(clips[:2])
    assert settings_for(book, session, first)[0].partner.path.stem == clips[2]


def test_the_answers_name_does_not_depend_on_where_the_logbook_lies():
    def key(folder):
        camera = Path(folder) / "cameras" / "f1.toml"
        theirs = Settings(camera=camera, release_frame=3.0)
        partner = Partner(path=Path(folder) / "clips" / "b.mp4", settings=theirs)
        return key_of("a", Settings(camera=camera, partner=partner), "")

    assert key("/here") == key("/there")
    assert key("/here") != key_of("a", Settings(camera=Path("/here/cameras/f1.toml")), "")
