"""The invented certificate the paper tests print, and changes to it."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from registry.paper.content import CertificatePaper, Fact, PaperWords, Picture, ReadingRow

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

DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 320 120">'
    '<circle cx="60" cy="90" r="5"/><text x="60" y="40" font-size="13">Juno</text></svg>'
)


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
        state_word="Genuine when issued",
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
        meaning=(
            "Of 100 tested Tarn Spaniels, about 24 have tighter hips than Juno and 75 have "
            "looser ones. Tighter is better.",
        ),
        pictures=(
            Picture("Left hip", DRAWING, "Left hip: about 30 of 100 tested dogs are tighter."),
            Picture("Right hip", DRAWING, "Right hip: about 24 of 100 tested dogs are tighter."),
        ),
        picture_notes=(
            "1 circle = about 8 dogs. 412 tested Tarn Spaniels, examined November 2016 to "
            "October 2026.",
        ),
        rows=(
            ReadingRow("Hip laxity index", "0.29", "0.31", "0.31",
                       "about 24 of 100 tighter (20 to 28), of 412"),
            ReadingRow("Norberg angle", "107.5°", "106.0°", "106.0°",
                       "about 35 of 100 better (31 to 40), of 398"),
            ReadingRow("Hip grade, extended view", "B", "B", "B", "not compared"),
            ReadingRow("Elbow grade", "0", "0", "0", "not compared"),
        ),
        row_notes=("Hip laxity index: below 0.30 later arthritis is rare.",),
        cautions=CAUTIONS,
        issue_lines=("Issued on 9 October 2026", "Standing as of that day"),
    )  # fmt: skip
    return replace(paper, **changes)
