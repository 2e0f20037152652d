"""Symmetric matrices that are a band with a border: frames tied to near frames, and all to a few shared.

Solving one costs in proportion to the number of frames; LAPACK's banded Cholesky does the work.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, cholesky_banded
from scipy.linalg.lapack import dtbtrs

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
        n, s = self.border.shape
        lower = cholesky_banded(self.band, lower=True, check_finite=False)
        # Both triangles for what is asked alone, the first for the border too: half the time of both for all.
        half, _ = dtbtrs(lower, np.column_stack([self.border, right[:n]]), uplo="L")
        of_border, of_right = half[:, :s], half[:, s:]
        schur = cho_factor(self.corner - of_border.T @ of_border, lower=True)
        last = cho_solve(schur, right[n:].reshape(s, -1) - of_border.T @ of_right)
        own, _ = dtbtrs(lower, of_right - of_border @ last, uplo="L", trans="T")
        return np.concatenate([own, last]).reshape(right.shape)

    def log_det(self) -> float:
        """Logarithm of the determinant."""
        lower = cholesky_banded(self.band, lower=True, check_finite=False)
        of_border, _ = dtbtrs(lower, self.border, uplo="L")
        _, schur = np.linalg.slogdet(self.corner - of_border.T @ of_border)
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
