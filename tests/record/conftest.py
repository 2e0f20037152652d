import pytest

from release.record.write_open import new_logbook
from tests.record.filled import fill


@pytest.fixture
def logbook(tmp_path):
    book = new_logbook(tmp_path / "book")
    yield book
    book.engine.dispose()


@pytest.fixture
def filled(logbook, tmp_path):
    fill(logbook, tmp_path)
    return logbook
