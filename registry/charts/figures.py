"""Plotly figures for the explorers, as plain dictionaries ready for JSON.

Each function takes numbers and finished wording and returns ``{"data": […],
"layout": {…}}`` of plain lists, which Plotly draws and a person can read. Lines
differ in dash and marker as well as in colour, and no colour judges. Colours are
the tokens below; the page's script swaps them for its own light or dark ones.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

OWN = "#12436d"
OTHER = "#646c70"
ACCENT = "#0d4d56"
STYLE_HASHES = (
    "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='",
    "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='",
)
"""What an explorer's page adds to ``style-src`` for Plotly: the element it fills rule by
rule (the hash of nothing), and the map styles that its file brings along (plotly.js 4.1)."""

CLEAR = "rgba(0,0,0,0)"
"""Of what is not filled."""
_PENS = (
    {"color": OWN, "dash": "solid", "symbol": "circle"},
    {"color": OTHER, "dash": "dash", "symbol": "diamond-open"},
    {"color": ACCENT, "dash": "dot", "symbol": "square-open"},
    {"color": OTHER, "dash": "longdashdot", "symbol": "x"},
)
_QUARTILES = ("upper", "middle", "lower")

Figure = dict[str, Any]


@dataclass(frozen=True)
class Spread:
    """Quartiles of one group: its wording, its dogs, and values in the trait's unit.

    ``at`` is where the group stands on the other axis: an ISO month, a year or a
    name. A group too small to summarise has None for its values and leaves a gap.
    """

    at: str
    label: str
    dogs: int
    lower: float | None
    middle: float | None
    upper: float | None


@dataclass(frozen=True)
class Strata:
    """Counts of one part of the breed, by value, in ascending order."""

    label: str
    values: Sequence[float]
    dogs: Sequence[int]


@dataclass(frozen=True)
class AxisWords:
    """Names of the two axes."""

    x: str
    y: str


@dataclass(frozen=True)
class SpreadWords:
    """Names of the lines of a spread; ``dogs`` names the count, as in "Dogs: 12"."""

    lower: str
    middle: str
    upper: str
    dogs: str


def over_time(spreads: Sequence[Spread], *, axes: AxisWords, words: SpreadWords) -> Figure:
    """Draw the median between quartile lines over months or years, with the dogs of each."""
    at = [spread.at for spread in spreads]
    quartile = {"color": OTHER, "width": 1.5}
    lines = [
        (words.upper, [s.upper for s in spreads], quartile | {"dash": "dot"}, "triangle-up-open"),
        (words.middle, [s.middle for s in spreads], {"color": OWN, "width": 2.5}, "circle"),
        (
            words.lower,
            [s.lower for s in spreads],
            quartile | {"dash": "dash"},
            "triangle-down-open",
        ),
    ]
    data: list[Figure] = [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": name,
            "x": at,
            "y": values,
            "line": line,
            "marker": {"color": line["color"], "symbol": symbol, "size": 8},
            "connectgaps": False,
            "text": [spread.label for spread in spreads],
            "hovertemplate": "%{text}: %{y}<extra>%{fullData.name}</extra>",
        }
        for name, values, line, symbol in lines
    ]
    data.append(
        {
            "type": "bar",
            "name": words.dogs,
            "x": at,
            "y": [spread.dogs for spread in spreads],
            "yaxis": "y2",
            "marker": {"color": CLEAR, "line": {"color": OTHER, "width": 1}},
            "text": [spread.label for spread in spreads],
            "textposition": "none",
            "hovertemplate": "%{text}: %{y}<extra>%{fullData.name}</extra>",
        }
    )
    layout = base_layout(axes)
    layout["xaxis"] |= {"type": "category", "anchor": "y2", "tickangle": 0, "nticks": 8}
    layout["yaxis"] |= {"domain": [0.3, 1]}
    layout["yaxis2"] = plain_axis(words.dogs) | {
        "domain": [0, 0.2],
        "nticks": 3,
        "rangemode": "tozero",
    }
    return {"data": data, "layout": layout}


def by_stratum(
    strata: Sequence[Strata], *, axes: AxisWords, dogs: str, is_graded: bool = False
) -> Figure:
    """Draw how many dogs of each stratum (each sex) have each value, as stepped lines; of grades,
    between which there is nothing, as columns side by side."""
    data = [
        {
            "name": stratum.label,
            "x": list(stratum.values),
            "y": list(stratum.dogs),
            "hovertemplate": "%{x}: %{y} " + dogs + "<extra>%{fullData.name}</extra>",
            **(_columns_of(pen) if is_graded else _steps_of(pen)),
        }
        for stratum, pen in zip(strata, _repeated_pens(len(strata)), strict=True)
    ]
    layout = base_layout(axes)
    layout["yaxis"]["rangemode"] = "tozero"
    return {"data": data, "layout": layout}


def _steps_of(pen: dict[str, str]) -> Figure:
    line = {"shape": "hvh", "color": pen["color"], "dash": pen["dash"], "width": 2}
    return {"type": "scatter", "mode": "lines", "line": line}


def _columns_of(pen: dict[str, str]) -> Figure:
    """The first stratum full, the others empty: they differ without their colour."""
    fill = pen["color"] if pen["dash"] == "solid" else CLEAR
    return {"type": "bar", "marker": {"color": fill, "line": {"color": pen["color"], "width": 1.5}}}


def by_group(spreads: Sequence[Spread], *, axis: str, words: SpreadWords) -> Figure:
    """Draw each group's (each clinic's) median, whiskers to its quartiles, a row a group.

    Groups keep the order given: whoever orders them by name makes no ranking.
    """
    shown = [s for s in spreads if None not in (s.lower, s.middle, s.upper)]
    uppers, middles, lowers = ([getattr(s, name) for s in shown] for name in _QUARTILES)
    data = [
        {
            "type": "scatter",
            "mode": "markers",
            "name": words.middle,
            "y": [s.at for s in shown],
            "x": middles,
            "marker": {"color": OWN, "symbol": "circle", "size": 10},
            "error_x": {
                "type": "data",
                "symmetric": False,
                "array": _differences(uppers, middles),
                "arrayminus": _differences(middles, lowers),
                "color": OTHER,
                "thickness": 1.5,
                "width": 5,
            },
            "text": [s.label for s in shown],
            "customdata": [s.dogs for s in shown],
            "hovertemplate": "%{text}: %{x}<br>" + words.dogs + ": %{customdata}<extra></extra>",
        }
    ]
    layout = base_layout(AxisWords(axis, ""))
    layout["yaxis"] |= {"type": "category", "autorange": "reversed"}
    layout["height"] = 120 + 34 * len(shown)
    layout["showlegend"] = False
    return {"data": data, "layout": layout}


def columns(whole: Strata, *, axes: AxisWords, dogs: str, width: float) -> Figure:
    """Draw the breed's distribution as columns ``width`` wide in the trait's unit."""
    data = [
        {
            "type": "bar",
            "name": whole.label,
            "x": list(whole.values),
            "y": list(whole.dogs),
            "width": width,
            "marker": {"color": OTHER, "line": {"color": OWN, "width": 1}},
            "hovertemplate": "%{x}: %{y} " + dogs + "<extra></extra>",
        }
    ]
    layout = base_layout(axes)
    layout["bargap"] = 0
    layout["showlegend"] = False
    return {"data": data, "layout": layout}


def base_layout(axes: AxisWords) -> Figure:
    """Return what every figure's layout begins with."""
    return {
        "xaxis": plain_axis(axes.x),
        "yaxis": plain_axis(axes.y),
        "margin": {"l": 56, "r": 16, "t": 40, "b": 56},
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        "hovermode": "closest",
        "paper_bgcolor": CLEAR,
        "plot_bgcolor": CLEAR,
    }


def plain_axis(title: str) -> Figure:
    """Return an axis that neither zooms nor marks its zero."""
    return {"title": {"text": title}, "zeroline": False, "fixedrange": True, "automargin": True}


def _repeated_pens(count: int) -> list[dict[str, str]]:
    return [_PENS[index % len(_PENS)] for index in range(count)]


def _differences(larger: Sequence[float], smaller: Sequence[float]) -> list[float]:
    """Return differences without binary noise such as 0.30000000000000004."""
    return [round(high - low, 6) for high, low in zip(larger, smaller, strict=True)]
