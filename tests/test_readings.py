"""Blind second readings, and how far they agree, from a logbook's own records."""

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.readings import NotReadTwice, agreements
from release.record import read, write
from release.record.write_open import new_logbook
from release.stats.agreement import limits_of_agreement
from tests.record.filled import fill


@pytest.fixture
def book(tmp_path):
    return new_logbook(tmp_path / "book")


def read_blind(book, session, clips, who, frames):
    for clip, frame in zip(clips, frames, strict=True):
        value = {"frame_index": int(frame), "points": {"wrist": {"x_px": float(frame), "y_px": 7.0 * frame}}}
        write.add_fact(book, "read again", who=who, session=session, clip=clip, value=value)


def test_two_readings_by_one_person_and_one_by_another_are_set_against_each_other(book, tmp_path):
    session, clips = fill(book, tmp_path)
    first, second, other = ([3, 9, 4, 5, 8, 6], [4, 9, 5, 5, 7, 6], [1, 7, 2, 3, 6, 5])
    for who, frames in (("T.T.", first), ("T.T.", second), ("U.U.", other)):
        read_blind(book, session, clips, who, frames)
    found = agreements(book, session).set_index(["first", "second", "figure"])
    assert set(found.index.droplevel("figure")) >= {("T.T. 1", "T.T. 2"), ("T.T. 1", "U.U. 1")}
    one = found.loc[("T.T. 1", "T.T. 2", "release_frame")]
    expected = limits_of_agreement(first, second)
    assert (one["bias"], one["limit_low"]) == pytest.approx((expected.bias, expected.low))
    assert found.loc[("T.T. 1", "U.U. 1", "wrist_y_px"), "bias"] == pytest.approx(
        7 * np.mean(np.subtract(first, other))
    )
    assert found.filter(like="ICC").shape[1] == 6


def test_the_answer_in_force_is_a_reading_and_a_blind_one_does_not_change_it(book, tmp_path):
    session, clips = fill(book, tmp_path)
    before = read.measurements(book, session)
    read_blind(book, session, clips, "T.T.", [3, 9, 4, 5, 8, 6])
    assert read.measurements(book, session) == before
    out = tmp_path / "a.csv"
    said = CliRunner().invoke(app, ["agreement", str(book.folder), "--csv", str(out)])
    assert said.exit_code == 0, said.output
    assert "in force against T.T. 1:" in said.output
    row = pd.read_csv(out).set_index("figure").loc["release_frame"]
    assert row["bias"] == pytest.approx(3.5 - np.mean([3, 9, 4, 5, 8, 6]), rel=1e-5)


def test_too_few_clips_read_twice_is_said_with_what_to_do(book, tmp_path):
    session, clips = fill(book, tmp_path)
    read_blind(book, session, clips[:4], "T.T.", [3, 9, 4, 5])
    with pytest.raises(NotReadTwice, match=r"T\.T\. 1 4\)\. Read clips blind"):
        agreements(book)


def test_a_reading_that_is_taken_back_does_not_count(book, tmp_path):
    session, clips = fill(book, tmp_path)
    read_blind(book, session, clips, "T.T.", [3, 9, 4, 5, 8, 6])
    for fact in read.facts(book, session=session):
        write.add_fact(book, "undone", who="T.T.", undoes=fact["fact"])
    with pytest.raises(NotReadTwice):
        agreements(book)
