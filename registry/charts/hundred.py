"""A hundred circles in ten rows: the simplest picture of "about 24 of 100".

For whoever finds an axis hard to read. Numbers arrive rounded as far as the number
of dogs allows, and with them the words; here is only the drawing.
"""

from dataclasses import dataclass

from registry.charts.frame import OWN, ROLES, WIDTH, framed

_PITCH = 20.0
_RADIUS = 7.5
_LEFT = (WIDTH - 9 * _PITCH) / 2
_TOP = 14.0


@dataclass(frozen=True)
class HundredLabels:
    """The sentence for a screen reader, and a description."""

    title: str
    description: str


def hundred(
    of_100: tuple[int, int, int], *, labels: HundredLabels, ident: str, font: str = ""
) -> str:
    """Draw one hundred dogs, row by row from the best: better, the own dog, same, worse.

    ``of_100`` are the better, same and worse dogs, 100 in all. The own dog takes the place of one
    of the same, or where there are none of one of the larger side.
    """
    better, same, worse = of_100
    if same:
        same -= 1
    elif better > worse:
        better -= 1
    else:
        worse -= 1
    roles = ["better"] * better + ["own"] + ["same"] * same + ["worse"] * worse
    by_role: dict[str, list[str]] = {}
    for place, role in enumerate(roles):
        row, column = divmod(place, 10)
        at = f'cx="{_LEFT + column * _PITCH:g}" cy="{_TOP + row * _PITCH:g}"'
        by_role.setdefault(role, []).append(f'<circle {at} r="{_RADIUS}"/>')
        if role == "own":
            ring = f'<circle {at} r="{_RADIUS + 2}"/>'
    body = "".join(
        f'<g {ROLES[role]} stroke-width="1.2">{"".join(circles)}</g>'
        for role, circles in by_role.items()
    )
    flag = f'<g class="heap-flag" fill="none" stroke="{OWN}" stroke-width="1.2">{ring}</g>'
    return framed(
        body + flag,
        title=labels.title,
        description=labels.description,
        ident=ident,
        height=2 * _TOP + 9 * _PITCH,
        font=font,
    )
