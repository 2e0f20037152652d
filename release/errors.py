"""Every error that a user can cause. Programming mistakes stay ValueError.

A message says what was wrong, in which file or row, and what to do. `cli.main` and the page catch
`ReleaseError` once; nothing else does, except a batch that sets one item aside and goes on.
"""

from pathlib import Path


class ReleaseError(Exception):
    """Shown by the command line as one line, without a traceback."""


class ModelsNotFetched(ReleaseError):
    def __init__(self, why: str) -> None:
        super().__init__(
            f"the MediaPipe models could not be fetched: {why}. Connect to a network and run `release models "
            "fetch`, or name a folder that holds the four .tflite files with --from. Everything but the second "
            "opinion works without them"
        )


class ModelDamaged(ReleaseError):
    def __init__(self, path: Path, *, found: str, wanted: str) -> None:
        self.path, self.found, self.wanted = path, found, wanted
        super().__init__(
            f"not the published model: {path} has SHA-256 {found[:12]}..., expected {wanted[:12]}.... Delete it "
            "and run `release models fetch` again"
        )


class PlanUnreadable(ReleaseError):
    """plan.toml is missing, not TOML, or contradicts itself."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"the plan {path.name} cannot be used: {why}")
