"""The invented certificate the paper tests print, and changes to it."""

from dataclasses import replace
from datetime import UTC, datetime
from math import exp
from typing import Any

from registry.charts.svg import HeapLabels, heap
from registry.paper.content import CertificatePaper, Fact, PaperWords, Picture, ReadingRow
from registry.science import dots
from registry.science.distribution import Histogram

WORDS = PaperWords(
    kind="Certificate of an examination",
    number="Certificate number",
    which_dog="Which dog",
    examination="The examination",
    meaning="What it means",
    readings="The readings",
    trait="Looked at",
    left="Left",
    right="Right",
    speaks="Speaks for the dog",
    standing="Among tested dogs",
    cautions="Please keep in mind",
    check="Check it yourself",
    scan_or_type="Scan the code, or type the number yourself on the club's site:",
    address_must_read="The address at the top of the page must read exactly like this.",
    compare="Compare chip, sex, colour and date of birth with the real dog.",
    check_again="Check again before you buy.",
    qr_alt="QR code that opens this certificate on the club's site",
    missing_letters=(
        "A letter of a name on this sheet has no printed form here. The club's site shows it."
    ),
)

CAUTIONS = (
    "This is one examination on one day. It is not a diagnosis and not a promise.",
    "Hips depend on upbringing as well as on genes. A dog with tight hips can still fall ill.",
    "Only dogs whose results were sent to the club are counted. Other dogs may differ.",
    "Choose mates on the health of the whole dog and on diversity, not on hips alone.",
    "Ask a veterinarian, and follow the law and the rules of the club.",
)

MEANING = (
    "Of 100 tested Tarn Spaniels, about 24 have tighter hips than Juno and 75 have looser ones. "
    "Tighter is better."
)


def _drawing(ident: str, own_step: int) -> str:
    """Return a heap of 412 invented dogs with one dog's hip in it, set in the sheet's typeface."""
    counted = Histogram.of_counts(
        (step, round(34 * exp(-(((step - 42) / 11) ** 2)))) for step in range(14, 80, 2)
    )
    drawn = dots.heap(counted, own_step, "lower", own_is_counted=False)
    labels = HeapLabels(
        title="Where Juno stands",
        description="",
        better_end="tighter joint",
        worse_end="looser joint",
        circle="1 circle = about 8 dogs",
        value=lambda step: f"{step / 100:.2f}",
        own="Juno",
        own_value=f"{own_step / 100:.2f}",
    )
    return heap(drawn, labels=labels, ident=ident, better="lower", font="Libertinus Serif")


LEFT_HIP = _drawing("left", 29)
RIGHT_HIP = _drawing("right", 31)


def make_paper(**changes: Any) -> CertificatePaper:
    """Return the certificate of Juno, an invented Tarn Spaniel, with changes."""
    paper = CertificatePaper(
        language="en",
        title="Certificate K7M2Q X9RTD: Juno of the Low Tarn",
        club_name="Tarn Spaniel Club",
        club_address="register.tarnspaniels.example",
        number="K7M2Q X9RTD",
        url="https://register.tarnspaniels.example/C/K7M2QX9RTD",
        state="current",
        state_word="Check this before you trust it",
        state_sentence=(
            "The club did issue this. It describes one examination on one day. It does not "
            "promise that the dog or its puppies will stay healthy."
        ),
        dog_name="Juno of the Low Tarn",
        issued_at=datetime(2026, 10, 9, 14, 30, tzinfo=UTC),
        words=WORDS,
        dog_facts=(
            Fact("Called", "Juno"),
            Fact("Breed", "Tarn Spaniel"),
            Fact("Sex", "Bitch"),
            Fact("Born", "2 May 2024"),
            Fact("Colour", "Liver and white"),
            Fact("Chip", "ends in 004 217"),
        ),
        exam_facts=(
            Fact("Examined on", "2 October 2026"),
            Fact("At", "Harbour Lane Animal Clinic, Netherby"),
            Fact("Age", "2 years and 5 months"),
            Fact("Restraint", "Sedation"),
            Fact("Chip read", "Yes, on the day"),
        ),
        meaning=(MEANING,),
        pictures=(
            Picture("Left hip", LEFT_HIP, "Left hip: about 30 of 100 tested dogs are tighter."),
            Picture("Right hip", RIGHT_HIP, "Right hip: about 24 of 100 tested dogs are tighter."),
        ),
        picture_notes=("412 tested Tarn Spaniels, examined November 2016 to October 2026.",),
        rows=(
            ReadingRow("Hip laxity", "0.29", "0.31", "0.31",
                       "about 24 of 100 tighter (20 to 28), of 412"),
            ReadingRow("Norberg angle", "107.5°", "106.0°", "106.0°",
                       "about 35 of 100 better (31 to 40), of 398"),
            ReadingRow("Hip grade, extended view", "B", "B", "B", "not compared"),
            ReadingRow("Elbow grade", "0", "0", "0", "not compared"),
        ),
        row_notes=("1 Below 0.30 later arthritis is rare. 2 Above 0.45 disease is more likely.",),
        cautions=CAUTIONS,
        issue_lines=("Issued on 9 October 2026", "Standing as of that day"),
    )  # fmt: skip
    return replace(paper, **changes)
