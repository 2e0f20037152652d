"""Writes the throw sheet as an A4 form to print and fill by hand, with the planned cues in it."""

from dataclasses import dataclass
from pathlib import Path

from release.session.result import Plan
from release.views.write import pdf_of, render


@dataclass(frozen=True, slots=True, kw_only=True)
class FormRow:
    """One line of the form."""

    throw: int
    block: int | None
    cue: str
    first: bool  # of its block


def form_rows(plan: Plan | None, throws_per_block: int, throws: int) -> tuple[FormRow, ...]:
    """The lines of the form: the plan's throws, then empty ones up to `throws`.

    Args:
        plan: The drawn order of cues; None for a form without.
        throws_per_block: How many throws a block has, where blocks were drawn.
        throws: The least number of lines.
    """
    each = throws_per_block if plan is not None and plan.unit == "block" else 1
    planned = [
        FormRow(
            throw=unit * each + k + 1,
            block=unit + 1 if each > 1 else None,
            cue=cue,
            first=k == 0 and each > 1,
        )
        for unit, cue in enumerate(plan.order if plan else ())
        for k in range(each)
    ]
    empty = [FormRow(throw=n + 1, block=None, cue="", first=False) for n in range(len(planned), throws)]
    return (*planned, *empty)


def write_sheet_form(path: Path, rows: tuple[FormRow, ...], athlete: str) -> None:
    """Write the form; a name that ends in .html gives HTML, any other PDF."""
    blocks = any(row.block is not None for row in rows)
    page = render("sheet_form.html", rows=rows, blocks=blocks, athlete=athlete)
    path.write_bytes(page.encode("utf-8") if path.suffix == ".html" else pdf_of(page))
