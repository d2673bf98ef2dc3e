"""What all drawings share: width, colours, the frame with its words, and room for text.

A drawing needs no script and no style of its own: plain attributes make it complete
alone (in print, as a file), and the page's style sheet recolours its classes.
"""

from html import escape

WIDTH = 320
"""Width of every drawing; its text is sized to read at that width on a phone."""
EDGE = 10
PLOT = WIDTH - 2 * EDGE
OWN = "#12436d"
OTHER = "#646c70"
ROLES = {
    # A filled circle is better and a hollow one worse, in any colour and on any printer.
    "better": f'class="heap-better" fill="{OTHER}" stroke="{OTHER}"',
    "same": f'class="heap-same" fill="none" stroke="{OWN}"',
    "worse": f'class="heap-worse" fill="none" stroke="{OTHER}"',
    "dog": f'class="heap-dog" fill="{OTHER}" stroke="{OTHER}"',
    "own": f'class="heap-own" fill="{OWN}" stroke="{OWN}"',
}
"""Class and plain attributes of each role of a circle, named as in ``science.dots``."""


class TooFewDogsError(ValueError):
    """A chart of too few tested dogs was asked for; the page says so in words instead."""


def framed(
    body: str, *, title: str, description: str, ident: str, height: float, font: str = ""
) -> str:
    """Put a drawing in its SVG, with the sentence and the description of it.

    ``ident`` must be unlike that of any other drawing of the page.
    """
    family = f' font-family="{escape(font)}"' if font else ""
    mark = escape(ident)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="heap" role="img"'
        f' viewBox="0 0 {WIDTH} {height:g}" aria-labelledby="{mark}-t" aria-describedby="{mark}-d"'
        f'{family}><title id="{mark}-t">{escape(title)}</title>'
        f'<desc id="{mark}-d">{escape(description)}</desc>{body}</svg>'
    )


def text_width(text: str, size: float) -> float:
    """Return at least the width that text takes in any usual typeface."""
    return size * sum(_letter_width(letter) for letter in text)


def kept_inside(x: float, width: float) -> tuple[float, str]:
    """Return where a label goes so that it stays in the drawing: its x and its anchor."""
    if x - width / 2 >= 2 and x + width / 2 <= WIDTH - 2:
        return x, "middle"
    if x < WIDTH / 2:
        return max(min(x - 5, WIDTH - 2 - width), 2.0), "start"
    return min(max(x + 5, width + 2), WIDTH - 2.0), "end"


def shortened(text: str, width: float, size: float) -> str:
    """Return the text, or as much of it as fits with an ellipsis."""
    if text_width(text, size) <= width:
        return text
    while text and text_width(f"{text}…", size) > width:
        text = text[:-1]
    return f"{text.rstrip()}…"


def _letter_width(letter: str) -> float:
    """Return a generous width in ems; scripts with square letters are a full em wide."""
    if letter in " .,:;'’|!ijlItf()[]-·":
        return 0.36
    if ord(letter) >= 0x1100:
        return 1.05
    return 0.92 if letter in "mwMW@%—" else 0.74 if letter.isupper() else 0.6
