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


class ClipError(ReleaseError):
    """Something about one video file; `clip` is its path."""

    what: str
    todo: str

    def __init__(self, clip: Path, detail: str = "") -> None:
        self.clip, self.detail = clip, detail
        said = f"{self.what}: {detail}" if detail else self.what
        super().__init__(f"{said}. {self.todo}. Clip: {clip}")


class ClipMissing(ClipError):
    what = "there is no file here"
    todo = "Check the path, or plug in the disk that holds the clips"


class ClipUnreadable(ClipError):
    what = "the system does not let this file be read"
    todo = "Check its permissions and the disk"


class ClipEmpty(ClipError):
    what = "the file is empty (0 bytes)"
    todo = "Copy it from the phone again"


class NotAVideo(ClipError):
    what = "this is not a video the tool reads"
    todo = "Give the phone's own file: MP4, MOV, MKV, WebM, AVI or MPEG-TS"


class ClipTruncated(ClipError):
    what = "the file is cut off"
    todo = "Copying or recording broke off: copy it from the phone again"


class ClipDamaged(ClipError):
    what = "the file is damaged"
    todo = "Copy it from the phone again; if that file is damaged too, film the throw again"


class NoVideoTrack(ClipError):
    what = "the file holds no video track"
    todo = "Give the video itself, not its sound alone"


class NoFrames(ClipError):
    what = "the video track holds no frame"
    todo = "Export or copy the clip again"


class ClipTooLarge(ClipError):
    what = "the picture is larger than the tool takes"
    todo = "Film at 4K or less"


class TruthUnreadable(ReleaseError):
    """A folder or file of truth that `release accuracy` cannot use."""
