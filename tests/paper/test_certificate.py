"""The certificate's PDF: what it claims, what it says, that it fits, that it stays the same."""

import re
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from numpy.typing import NDArray

from registry.paper import certificate
from registry.paper.certificate import PaperPdf, cached_pdf, certificate_pdf, content_key
from registry.paper.content import CertificatePaper, Fact, ReadingRow
from tests.paper.sheets import CAUTIONS, WORDS, make_paper

MM = 72 / 25.4
LETTER_HEIGHT = 279.4 * MM
LETTER_WIDTH = 215.9 * MM


def text_of(data: bytes) -> str:
    """Return the words of all pages, each run of white space made one space."""
    with pdfium.PdfDocument(data) as document:
        pages = [page.get_textpage().get_text_bounded() for page in document]
    return " ".join(" ".join(pages).replace("\ufffe", "").split())


def pages_of(data: bytes) -> int:
    with pdfium.PdfDocument(data) as document:
        return len(document)


def grey_picture(data: bytes, dpi: int) -> NDArray[np.uint8]:
    """Return the first page as rows of grey values, as an office scanner would see it."""
    with pdfium.PdfDocument(data) as document:
        bitmap = document[0].render(scale=dpi / 72, grayscale=True)
        return np.array(bitmap.to_numpy()).squeeze()


class TestWhatItClaims:
    def test_it_is_a_pdf_that_claims_archival_level_a_and_accessibility(self) -> None:
        made = certificate_pdf(make_paper())

        assert made.is_conformant
        assert made.data.startswith(b"%PDF-1.7")
        assert b"<pdfaid:part>3</pdfaid:part>" in made.data
        assert b"<pdfaid:conformance>A</pdfaid:conformance>" in made.data
        assert b"<pdfuaid:part>1</pdfuaid:part>" in made.data

    def test_it_is_tagged_and_names_its_language(self) -> None:
        data = certificate_pdf(make_paper(language="cs")).data

        assert b"/StructTreeRoot" in data
        assert re.search(rb"/Lang\s*\(cs\)", data)
        assert re.search(rb"/MarkInfo\s*<<[^>]*/Marked true", data)

    def test_every_picture_has_its_words(self) -> None:
        data = certificate_pdf(make_paper()).data

        assert data.count(b"/S/Figure") == 3
        assert len(re.findall(rb"/Alt\s*[(<]", data)) == 3

    def test_its_title_is_the_documents_title(self) -> None:
        with pdfium.PdfDocument(certificate_pdf(make_paper()).data) as document:
            assert document.get_metadata_value("Title") == make_paper().title

    def test_it_carries_no_script_no_file_and_no_link_to_launch(self) -> None:
        data = certificate_pdf(make_paper()).data

        for risky in (b"/JavaScript", b"/JS", b"/Launch", b"/EmbeddedFile", b"/OpenAction", b"/AA"):
            assert risky not in data


class TestWhatItSays:
    def test_the_number_the_dog_the_readings_and_the_address_can_be_read(self) -> None:
        text = text_of(certificate_pdf(make_paper()).data)

        for said in ("K7M2Q X9RTD", "Juno of the Low Tarn", "0.31", "register.tarnspaniels.example",
                     "Check again before you buy.", "Issued on 9 October 2026"):  # fmt: skip
            assert said in text

    def test_every_caution_is_printed_whole(self) -> None:
        text = text_of(certificate_pdf(make_paper()).data)

        for caution in CAUTIONS:
            assert caution in text

    def test_the_verdict_is_read_before_the_dog_and_the_dog_before_the_readings(self) -> None:
        text = text_of(certificate_pdf(make_paper()).data)

        places = [
            text.index(part) for part in ("Check this before you trust it", "Born", "Norberg angle")
        ]
        assert places == sorted(places)

    @pytest.mark.parametrize("state", ["replaced", "revoked"])
    def test_a_certificate_that_no_longer_holds_says_when_and_why(self, state: str) -> None:
        paper = make_paper(
            state=state,
            state_word="No longer holds",
            state_lines=("On 3 November 2026: the films belonged to another dog.",),
        )

        text = text_of(certificate_pdf(paper).data)

        assert "No longer holds" in text
        assert "On 3 November 2026: the films belonged to another dog." in text

    def test_bad_news_is_set_in_the_same_size_as_good_news(self) -> None:
        sizes = {
            state: letter_height(
                certificate_pdf(make_paper(state=state, state_word="Verdict")).data, "Verdict"
            )
            for state in ("current", "replaced", "revoked")
        }

        assert sizes["replaced"] >= sizes["current"] > 10
        assert sizes["revoked"] >= sizes["current"]

    def test_each_state_looks_different_without_colour(self) -> None:
        ink = {
            state: (grey_picture(certificate_pdf(make_paper(state=state)).data, 50) < 128).mean()
            for state in ("current", "replaced", "revoked")
        }

        assert ink["current"] < ink["replaced"] < ink["revoked"]

    def test_a_missing_reading_is_a_dash_and_never_an_empty_cell(self) -> None:
        paper = make_paper(rows=(ReadingRow("Elbow grade", left="0"),))

        assert "Elbow grade 0 – – –" in text_of(certificate_pdf(paper).data)

    def test_a_sheet_without_comparison_still_prints(self) -> None:
        paper = make_paper(pictures=(), picture_notes=(), row_notes=(), issue_lines=())

        assert "K7M2Q X9RTD" in text_of(certificate_pdf(paper).data)


class TestNames:
    @pytest.mark.parametrize(
        "name",
        [
            '#eval("1+1") $x^2$ *bold* _it_',
            "\\n #let a = 1; <label> @ref `raw`",
            "</text><script>alert(1)</script>",
            "{{ dog }} {% raw %} %s %(x)s ${HOME}",
            "// not a comment /* nor this */",
            "[x] = heading - list + item / term: a",
        ],
    )
    def test_markup_in_a_name_is_printed_letter_by_letter(self, name: str) -> None:
        made = certificate_pdf(make_paper(dog_name=name))

        assert made.is_conformant
        assert name in text_of(made.data)

    @pytest.mark.parametrize(
        ("language", "name"),
        [
            ("cs", "Žižka z Příčné Úžlabiny"),
            ("de", "Größe überm Fährhaus"),
            ("fr", "Œillet d’Île-aux-Chênes"),
            ("pl", "Źdźbło znad Łąki Żółtej"),
            ("sv", "Ångström på Bråviken Ö"),
            ("es", "Ñandú «el Pingüino» ¿Sí?"),
            ("tr", "İğde Şimşek Çığ"),
            ("ro", "Țară și Ștreang de Lângă"),
            ("vi", "Nguyễn Thị Ước"),
            ("el", "Αργώ της Θάλασσας"),
            ("uk", "Їжак Ґава Є"),
        ],
    )
    def test_the_letters_of_many_languages_print_and_read_back(
        self, language: str, name: str
    ) -> None:
        made = certificate_pdf(make_paper(language=language, dog_name=name))

        assert made.is_conformant
        assert name in text_of(made.data)

    @pytest.mark.parametrize("name", ["Juno 🐕", "犬の名前", "น้องหมา"])
    def test_letters_no_font_has_give_a_plain_sheet_that_says_so(self, name: str) -> None:
        made = certificate_pdf(make_paper(dog_name=name))

        assert not made.is_conformant
        assert b"pdfaid" not in made.data
        assert WORDS.missing_letters in text_of(made.data)
        assert "K7M2Q X9RTD" in text_of(made.data)

    def test_a_sheet_with_all_its_letters_does_not_say_that_some_are_missing(self) -> None:
        assert WORDS.missing_letters not in text_of(certificate_pdf(make_paper()).data)

    def test_control_and_direction_marks_become_spaces(self) -> None:
        made = certificate_pdf(make_paper(dog_name="Ju\x07no\u202eevil\u2066\x00 \ud800end"))

        assert made.is_conformant
        assert "Ju no evil" in text_of(made.data)

    def test_a_name_typed_with_loose_accents_is_composed(self) -> None:
        assert "Žižka" in text_of(certificate_pdf(make_paper(dog_name="Z\u030ciz\u030cka")).data)


class TestItFits:
    def test_it_is_one_a4_page_that_also_prints_whole_on_letter(self) -> None:
        data = certificate_pdf(make_paper()).data

        picture = grey_picture(data, 72)
        rows, columns = np.nonzero(picture < 250)
        height, width = picture.shape
        a_printers_margin = 6.3 * MM
        assert pages_of(data) == 1
        assert (round(width), round(height)) == (596, 842)
        # Centred on Letter at full size: what sticks out, and what a printer cannot reach.
        lost = (height - LETTER_HEIGHT) / 2 + a_printers_margin
        assert rows.min() >= lost
        assert rows.max() <= height - lost
        assert columns.min() >= a_printers_margin
        assert columns.max() <= width - a_printers_margin
        assert width <= LETTER_WIDTH

    @pytest.mark.parametrize(
        "name",
        [
            "Juno of the " + "Very Long Water " * 12,
            "Donaudampfschifffahrtsgesellschaftskapitaensmuetzenabzeichen" * 3,
        ],
    )
    def test_a_long_name_stays_on_one_page_and_inside_it(self, name: str) -> None:
        data = certificate_pdf(make_paper(dog_name=name)).data

        columns = np.nonzero(grey_picture(data, 72) < 250)[1]
        assert pages_of(data) == 1
        assert columns.max() <= (210 - 18) * MM

    def test_words_forty_per_cent_longer_stay_on_one_page(self) -> None:
        assert pages_of(certificate_pdf(lengthened(make_paper(), 1.4)).data) == 1

    def test_far_too_many_words_run_on_to_a_second_page_and_none_is_lost(self) -> None:
        paper = make_paper(cautions=CAUTIONS * 12)

        data = certificate_pdf(paper).data

        assert pages_of(data) == 2
        assert text_of(data).count(CAUTIONS[0]) == 12


class TestSameBytes:
    def test_the_same_certificate_is_the_same_file_in_another_process(self) -> None:
        script = (
            "import hashlib, sys; from tests.paper.sheets import make_paper;"
            "from registry.paper.certificate import certificate_pdf;"
            "sys.stdout.write(hashlib.sha256(certificate_pdf(make_paper()).data).hexdigest())"
        )
        digests = {
            subprocess.run(
                [sys.executable, "-c", script],
                capture_output=True,
                text=True,
                check=True,
                cwd=Path(__file__).parents[2],
                env={"TZ": zone, "PYTHONHASHSEED": seed, "PATH": ""},
            ).stdout
            for zone, seed in (("UTC", "1"), ("Asia/Tokyo", "2"))
        }

        assert len(digests) == 1
        assert len(digests.pop()) == 64

    def test_another_dog_in_between_changes_nothing(self) -> None:
        first = certificate_pdf(make_paper()).data
        certificate_pdf(make_paper(dog_name="Bramble"))

        assert certificate_pdf(make_paper()).data == first

    def test_many_threads_get_the_same_file(self) -> None:
        made: list[bytes] = []
        threads = [
            threading.Thread(target=lambda: made.append(certificate_pdf(make_paper()).data))
            for _ in range(4)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert len(made) == 4
        assert len(set(made)) == 1


class TestCache:
    def test_a_second_request_does_not_set_type_again(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first = cached_pdf(make_paper(), directory=tmp_path / "pdf")
        monkeypatch.setattr(certificate, "certificate_pdf", never)

        assert cached_pdf(make_paper(), directory=tmp_path / "pdf") == first
        assert [path.suffix for path in (tmp_path / "pdf").iterdir()] == [".pdf"]

    def test_the_remark_on_missing_letters_is_remembered(self, tmp_path: Path) -> None:
        paper = make_paper(dog_name="犬")

        made = cached_pdf(paper, directory=tmp_path)

        assert not made.is_conformant
        assert cached_pdf(paper, directory=tmp_path) == made

    def test_any_changed_word_is_another_key(self) -> None:
        paper = make_paper()
        changed = [
            replace(paper, state="revoked"),
            replace(paper, dog_name="Bramble"),
            replace(paper, cautions=CAUTIONS[:-1]),
            replace(paper, words=replace(WORDS, check_again="Look again.")),
            replace(paper, rows=(*paper.rows, ReadingRow("Gait"))),
            replace(paper, issued_at=paper.issued_at.replace(second=1)),
        ]

        keys = {content_key(each) for each in (paper, *changed)}

        assert len(keys) == 1 + len(changed)
        assert content_key(make_paper()) in keys

    def test_other_fonts_are_another_key(self, tmp_path: Path) -> None:
        assert content_key(make_paper()) != content_key(make_paper(), font_paths=[tmp_path])

    def test_a_directory_that_cannot_be_written_still_gives_the_pdf(self, tmp_path: Path) -> None:
        in_the_way = tmp_path / "file"
        in_the_way.write_text("not a directory")

        assert cached_pdf(make_paper(), directory=in_the_way).is_conformant

    def test_a_write_that_fails_leaves_no_half_file(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def disk_full(self: Path, target: Path) -> Path:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Path, "replace", disk_full)

        assert cached_pdf(make_paper(), directory=tmp_path).data.startswith(b"%PDF")
        assert list(tmp_path.iterdir()) == []


def letter_height(data: bytes, word: str) -> float:
    """Return the height in points of the first capital of a word."""
    with pdfium.PdfDocument(data) as document:
        text = document[0].get_textpage()
        found = text.search(word).get_next()
        assert found is not None
        _, bottom, _, top = text.get_charbox(found[0])
        return float(top - bottom)


def lengthened(paper: CertificatePaper, factor: float) -> CertificatePaper:
    """Return the sheet as a wordy translation would fill it."""

    def longer(text: str) -> str:
        extra = round(len(text) * (factor - 1))
        return f"{text} {'abcdefg ' * (extra // 8)}{'a' * (extra % 8)}".rstrip()

    words = {name: longer(text) for name, text in vars(paper.words).items()}
    return replace(
        paper,
        words=replace(paper.words, **words),
        state_word=longer(paper.state_word),
        state_sentence=longer(paper.state_sentence),
        meaning=tuple(map(longer, paper.meaning)),
        cautions=tuple(map(longer, paper.cautions)),
        dog_facts=tuple(Fact(longer(f.label), longer(f.value)) for f in paper.dog_facts),
        exam_facts=tuple(Fact(longer(f.label), longer(f.value)) for f in paper.exam_facts),
        rows=tuple(
            replace(row, trait=longer(row.trait), standing=longer(row.standing))
            for row in paper.rows
        ),
        row_notes=tuple(map(longer, paper.row_notes)),
        issue_lines=tuple(map(longer, paper.issue_lines)),
    )


def never(*_: object, **__: object) -> PaperPdf:
    raise AssertionError("type was set although the PDF was kept")
