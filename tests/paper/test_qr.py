"""The QR code: read back by another program's reader, large enough, cheap to inline."""

import random

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray

from registry.paper.certificate import certificate_pdf
from registry.paper.qr import QUIET_MODULES, QrCode, capital_url, qr_code, qr_svg
from tests.paper.sheets import make_paper
from tests.paper.test_certificate import grey_picture

SYMBOLS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
URL_OF_47 = "https://register.tarnspaniel.example/C/K7M2QX9R"


def picture_of(code: QrCode, module_pixels: int) -> NDArray[np.uint8]:
    """Paint the strokes of the code's path, as a browser would."""
    modules = np.full((code.width, code.width), 255, np.uint8)
    for row in code.path.split("M")[1:]:
        start, *runs = row.replace("m", " m").replace("h", " h").split(" h")
        x, y = (int(float(number)) for number in start.split())
        for run in runs:
            length, _, gap = run.partition(" m")
            modules[y, x : x + int(length)] = 0
            x += int(length) + int(gap.split()[0] if gap else 0)
    return modules.repeat(module_pixels, 0).repeat(module_pixels, 1)


def test_a_hundred_certificates_each_read_back() -> None:
    draw = random.Random(20261002)
    urls = [f"https://club.example/C/{''.join(draw.choices(SYMBOLS, k=10))}" for _ in range(100)]

    read = [zxingcpp.read_barcode(picture_of(qr_code(url), 4)) for url in urls]

    assert [found.text if found else None for found in read] == [capital_url(url) for url in urls]


def test_it_reads_back_from_a_grey_scan_of_the_printed_sheet_at_150_dpi() -> None:
    draw = random.Random(7)
    for _ in range(5):
        url = f"https://register.tarnspaniels.example/C/{''.join(draw.choices(SYMBOLS, k=10))}"

        found = zxingcpp.read_barcode(grey_picture(certificate_pdf(make_paper(url=url)).data, 150))

        assert found is not None
        assert found.text == url.upper()


def test_it_survives_a_poor_copy() -> None:
    url = "https://register.tarnspaniels.example/C/K7M2QX9RTD"
    scan = grey_picture(certificate_pdf(make_paper(url=url)).data, 150).astype(float)

    noise = np.random.default_rng(3).normal(0, 20, scan.shape)
    worn = np.clip(scan * 0.7 + 40 + noise, 0, 255).astype(np.uint8)

    found = zxingcpp.read_barcode(worn)
    assert found is not None
    assert found.text == url.upper()


def test_an_address_of_47_capitals_is_version_3_at_level_q() -> None:
    assert len(URL_OF_47) == 47

    code = qr_code(URL_OF_47)

    assert (code.version, code.modules) == (3, 29)
    found = zxingcpp.read_barcode(picture_of(code, 4))
    assert found is not None
    assert found.ec_level == "Q"


@pytest.mark.parametrize("length", [20, 47, 60, 120, 300])
def test_it_is_printed_at_22_mm_or_more_with_modules_of_half_a_mm_or_more(length: int) -> None:
    code = qr_code("https://club.example/C/".ljust(length, "A"))

    assert code.width_mm >= 22
    assert code.module_mm >= 0.5
    assert code.width == code.modules + 2 * QUIET_MODULES


def test_a_path_in_small_letters_is_left_as_it_is() -> None:
    assert capital_url("https://club.example/dogs/c/K7M2") == "HTTPS://CLUB.EXAMPLE/dogs/c/K7M2"

    found = zxingcpp.read_barcode(picture_of(qr_code("https://club.example/dogs/c/K7M2"), 4))

    assert found is not None
    assert found.text == "HTTPS://CLUB.EXAMPLE/dogs/c/K7M2"


def test_no_address_is_refused() -> None:
    with pytest.raises(ValueError, match="address"):
        qr_code("")


def test_the_svg_has_no_style_and_no_script_and_escapes_its_title() -> None:
    svg = qr_svg(qr_code(URL_OF_47), title='"><script>')

    assert "style" not in svg
    assert "<script" not in svg
    assert 'aria-label="&quot;&gt;&lt;script&gt;"' in svg
    assert len(svg) < 3000
