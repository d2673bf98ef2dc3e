"""The QR code that leads from paper to the club's site: matrix, size, SVG.

The code holds the https address and nothing else, so that a scan shows where it
goes. Which address that is, is the caller's business.
"""

from dataclasses import dataclass
from html import escape
from itertools import groupby
from urllib.parse import urlsplit

import segno

QUIET_MODULES = 4
"""Width of the light border, in modules (ISO/IEC 18004 asks for four)."""

_ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
_MASK = 3
_MODULE_MM = 0.7
_SMALLEST_MM = 26.0


@dataclass(frozen=True)
class QrCode:
    """One code: the text inside, the modules of each side, and the dark runs.

    ``path`` is SVG path data in module units, quiet zone included, to be stroked
    one module wide: a third of the bytes of closed rectangles.
    """

    text: str
    modules: int
    version: int
    path: str

    @property
    def width(self) -> int:
        """Return the width in modules, quiet zone included."""
        return self.modules + 2 * QUIET_MODULES

    @property
    def width_mm(self) -> float:
        """Return the printed width, quiet zone included, in millimetres."""
        return max(_SMALLEST_MM, self.width * _MODULE_MM)

    @property
    def module_mm(self) -> float:
        """Return the printed width of one module in millimetres."""
        return self.width_mm / self.width


def capital_url(url: str) -> str:
    """Write the address in capitals where that cannot change what it points to.

    Scheme and host never depend on case (RFC 3986, section 6.2.2.1). The path
    may, so it is left alone; one already in capitals then lets the whole address
    use the compact alphanumeric mode of the code.
    """
    parts = urlsplit(url)
    return parts._replace(scheme=parts.scheme.upper(), netloc=parts.netloc.upper()).geturl()


def qr_code(url: str) -> QrCode:
    """Encode an address with error correction Q (a quarter may be damaged).

    The mask is fixed: any of the eight is valid, and trying them all costs more
    than the rest of the code together. Raises ValueError when nothing is given.
    """
    if not url:
        raise ValueError("A QR code needs an address.")
    text = capital_url(url)
    mode = "alphanumeric" if set(text) <= _ALPHANUMERIC else "byte"
    code = segno.make_qr(text, error="q", mask=_MASK, boost_error=False, mode=mode)
    return QrCode(
        text=text,
        modules=len(code.matrix),
        version=int(code.version),
        path="".join(_row_path(y, row) for y, row in enumerate(code.matrix, QUIET_MODULES)),
    )


def qr_svg(code: QrCode, *, title: str) -> str:
    """Draw a code as one SVG without style or script, for a page or for print.

    Dark on light whatever the page's colours are: a reader needs that order.
    ``title`` is read by a screen reader, for example "QR code: this page".
    """
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="qr" role="img"'
        f' aria-label="{escape(title)}" viewBox="0 0 {code.width} {code.width}"'
        f' width="{code.width_mm:.1f}mm" height="{code.width_mm:.1f}mm"'
        ' shape-rendering="crispEdges">'
        f'<path fill="#fff" d="M0 0h{code.width}v{code.width}H0z"/>'
        f'<path stroke="#000" d="{code.path}"/></svg>'
    )


def _row_path(y: int, row: bytearray) -> str:
    """Return the dark runs of one row as strokes along its middle."""
    gap = QUIET_MODULES
    parts: list[str] = []
    for is_dark, run in groupby(row):
        length = len(list(run))
        if not is_dark:
            gap += length
            continue
        start = f"m{gap} 0" if parts else f"M{gap} {y}.5"
        parts.append(f"{start}h{length}")
        gap = 0
    return "".join(parts)
