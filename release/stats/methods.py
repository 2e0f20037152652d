"""The methods of a set of comparisons, in words, from the settings that were used."""

from collections.abc import Mapping, Sequence

from release.stats.change import USUAL_NOISE, WILD
from release.stats.result import Comparison


def methods_paragraph(comparisons: Sequence[Comparison], settings: Mapping[str, str]) -> str:
    """A paragraph for a paper's methods section, then the settings as a list."""
    units = sorted({one.unit for one in comparisons})
    main = sorted({one.figure for one in comparisons if one.main})
    worth = {one.figure: one.worth for one in comparisons if one.worth is not None}
    named = f"The main outcome was {' and '.join(main)}, tested at 0.05; " if main else ""
    worths = ", ".join(f"{figure} {value:g}" for figure, value in worth.items())
    text = (
        "Cues were compared within athlete and pitch by re-randomising what had been drawn "
        f"({' and '.join(f'{unit}s' for unit in units)}), in the order and under the run rule of the plan. "
        "The statistic was a generalised-least-squares contrast with first-order autocorrelation "
        f"{USUAL_NOISE.lag_correlation:g} between throws as its working model and a straight trend over the "
        "session; each throw was weighted by its measurement variance, and throws beyond "
        f"{WILD:g} robust SDs were down-weighted alike for every order. Intervals are the shifts that the "
        f"test does not reject. {named}false discoveries were controlled over the other outcomes of each "
        "athlete and pitch (Benjamini and Hochberg 1995). A change was called not meaningful where its 90 % "
        f"interval lay inside the smallest change worth having, set beforehand ({worths or 'none set'}). "
        "Differences are the second cue minus the first."
    )
    listed = "".join(f"- {name}: {value}\n" for name, value in settings.items())
    return f"# Methods\n\n{text}\n\n## Settings\n\n{listed}"
