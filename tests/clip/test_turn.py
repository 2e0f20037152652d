import numpy as np
import pytest

from release.clip.turn import turns_and_mirror

ONE = 1 << 16


@pytest.mark.parametrize(
    ("abcd", "turns"),
    # The table of section 5.4 of the check values: matrix as stored, and k of numpy.rot90.
    [((1, 0, 0, 1), 0), ((0, 1, -1, 0), 3), ((0, -1, 1, 0), 1), ((-1, 0, 0, -1), 2)],
)
def test_quarter_turns_match_the_table(abcd, turns):
    a, b, c, d = (ONE * v for v in abcd)
    assert turns_and_mirror(np.array([[a, b, 0], [c, d, 0], [0, 0, 1 << 30]], np.int32)) == (turns, False)


@pytest.mark.parametrize(
    "abcd",
    [(s, 0, 0, t) for s in (1, -1) for t in (1, -1)] + [(0, s, t, 0) for s in (1, -1) for t in (1, -1)],
)
def test_every_corner_goes_where_the_matrix_sends_it(abcd):
    """ISO/IEC 14496-12, 6.2.2: (p, q) is shown at (a p + c q, b p + d q), up to a shift."""
    a, b, c, d = abcd
    stored = np.arange(6).reshape(2, 3)
    q, p = np.indices(stored.shape)
    column, row = a * p + c * q, b * p + d * q
    shown = np.zeros((np.ptp(row) + 1, np.ptp(column) + 1), int)
    shown[row - row.min(), column - column.min()] = stored
    matrix = np.array([[a * ONE, b * ONE, 0], [c * ONE, d * ONE, 0], [0, 0, 1 << 30]], np.int32)
    turns, mirrored = turns_and_mirror(matrix)
    upright = np.rot90(stored, turns)
    np.testing.assert_array_equal(upright[:, ::-1] if mirrored else upright, shown)
