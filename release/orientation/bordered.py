"""Symmetric matrices that are a band with a border: frames tied to near frames, and all to a few shared.

Solving one costs in proportion to the number of frames; scipy's banded Cholesky does the work.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, cho_solve_banded, cholesky_banded

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bordered:
    """[[band, border], [border^T, corner]], positive definite."""

    band: Array  # shape (w, n): LAPACK's lower form, band[i - j, j] is element (i, j)
    border: Array  # shape (n, s)
    corner: Array  # shape (s, s)

    def damped(self, share: float) -> "Bordered":
        """The matrix with its diagonal raised by a share of itself."""
        band = self.band.copy()
        band[0] *= 1 + share
        return replace(self, band=band, corner=self.corner + share * np.diag(np.diag(self.corner)))

    def solve(self, right: Array) -> Array:
        """Solve for one or more right-hand sides, shape (n + s, ...)."""
        n = len(self.border)
        factor = (cholesky_banded(self.band, lower=True, check_finite=False), True)
        wide = np.column_stack([self.border, right[:n]])
        inner = cho_solve_banded(factor, wide, check_finite=False)
        of_border, of_right = inner[:, : self.border.shape[1]], inner[:, self.border.shape[1] :]
        schur = cho_factor(self.corner - self.border.T @ of_border, lower=True)
        last = cho_solve(schur, right[n:].reshape(len(self.corner), -1) - self.border.T @ of_right)
        return np.concatenate([of_right - of_border @ last, last]).reshape(right.shape)

    def log_det(self) -> float:
        """Logarithm of the determinant."""
        lower = cholesky_banded(self.band, lower=True, check_finite=False)
        of_border = cho_solve_banded((lower, True), self.border, check_finite=False)
        _, schur = np.linalg.slogdet(self.corner - self.border.T @ of_border)
        return float(2 * np.sum(np.log(lower[0])) + schur)


def banded(blocks: Array) -> Array:
    """LAPACK's lower form of a block band.

    Args:
        blocks: Shape (m, k, d, d): block [a, f] stands at row f + a, column f; those past the end are not
            read.
    """
    m, k, d, _ = blocks.shape
    tall = blocks.transpose(1, 0, 2, 3).reshape(k, m * d, d)
    band = np.zeros((m * d, k, d))
    for column in range(d):
        band[: m * d - column, :, column] = tall[:, column:, column].T
    return band.reshape(m * d, k * d)
