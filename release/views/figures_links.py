"""A picture of how a session's clips, throw sheet and flight file were linked: three lines of time."""

from collections.abc import Iterable

from matplotlib.figure import Figure

from release.session.result import LinkedRow, Session

LANES = (("clip", "Clips"), ("throw", "Throw sheet"), ("flight", "Flight file"))
LINKED, ASKED, ALONE = "#12355b", "#c8790a", "#979797"
WIDTH_IN, HEIGHT_IN = 9.0, 2.6


def links_figure(session: Session) -> Figure:
    """Three time lines with the links drawn; rows to be asked about are dashed and open, lone rows grey.

    Args:
        session: The linked lists; rows whose place in time is not known are left out.
    """
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), layout="constrained")
    axes = figure.add_subplot()
    height = {column: 2 - n for n, (column, _) in enumerate(LANES)}
    for row in session.rows:
        points = _points(row, session, height)
        if row.state == "linked":
            axes.plot(
                [p[0] for p in points],
                [p[1] for p in points],
                color=LINKED,
                linewidth=0.8,
                marker="o",
                markersize=3,
            )
        elif points and row.state == "alone":
            axes.plot([points[0][0]], [points[0][1]], marker="x", markersize=4, color=ALONE)
        elif points:
            axes.plot([points[0][0]], [points[0][1]], marker="s", markersize=5, mfc="none", mec=ASKED)
            for x, y in _candidate_points(row, session, height):
                axes.plot([points[0][0], x], [points[0][1], y], color=ASKED, linewidth=0.8, linestyle="--")
    axes.plot([], [], label="linked", color=LINKED, marker="o", markersize=3, linewidth=0.8)
    axes.plot([], [], label="to be asked", color=ASKED, marker="s", mfc="none", linestyle="--", linewidth=0.8)
    axes.plot([], [], label="alone", color=ALONE, marker="x", linestyle="")
    axes.set_yticks([height[column] for column, _ in LANES], [words for _, words in LANES])
    axes.set_ylim(-0.4, 2.4)
    axes.set_xlabel("Seconds since the first row, on one clock")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, 1.18), ncols=3, frameon=False)
    return figure


def _points(row: LinkedRow, session: Session, height: dict[str, int]) -> list[tuple[float, int]]:
    named = ((column, getattr(row, column)) for column in height)
    return [(session.axis_s[at], height[at[0]]) for at in named if at in session.axis_s]


def _candidate_points(
    row: LinkedRow, session: Session, height: dict[str, int]
) -> Iterable[tuple[float, int]]:
    for other in row.candidates:
        for column in height:
            at = (column, getattr(other, column))
            if at in session.axis_s:
                yield session.axis_s[at], height[column]
                break
