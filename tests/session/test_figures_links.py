import io

from release.session.align import link
from release.session.result import Fact
from release.views.figures_links import LINKED, links_figure
from tests.session.sessions import session


def drawn(found):
    figure = links_figure(found)
    figure.savefig(io.BytesIO(), format="svg")
    return figure.axes[0]


def test_every_link_is_a_line_over_the_lists_it_joins():
    found = link(*session(n=12), [Fact(kind="marked extra", clip="c3.mp4")])
    lines = [line for line in drawn(found).lines if line.get_color() == LINKED and len(line.get_xdata()) > 1]
    linked = [row for row in found.rows if row.state == "linked"]
    assert len(lines) == len(linked)
    assert sum(len(line.get_xdata()) for line in lines) == 3 * len(linked) - 1


def test_what_is_asked_is_drawn_dashed():
    clips, _, flight = session(even=True, n=12)
    found = link(clips.drop(columns="throws"), None, flight)
    assert any(line.get_linestyle() == "--" and len(line.get_xdata()) == 2 for line in drawn(found).lines)


def test_axes_are_labelled_in_words():
    axes = drawn(link(*session(n=6)))
    assert [label.get_text() for label in axes.get_yticklabels()] == ["Clips", "Throw sheet", "Flight file"]
    assert axes.get_xlabel().startswith("Seconds")
