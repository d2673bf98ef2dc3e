"""The within-dog standard deviation against a worked example."""

from __future__ import annotations

import pytest

from registry.science.measuring_error import within_dog_sd

# Four readings of peak flow of each of 20 children. Bland JM, Altman DG (1996) Measurement error,
# BMJ 313:744. The readings stand here from memory; the result is the printed one: a within-subject
# variance of 460.52, a standard deviation of 21.5.
CHILDREN = (
    (190, 220, 200, 200), (220, 200, 240, 230), (260, 260, 240, 280), (210, 300, 280, 265),
    (270, 265, 280, 270), (280, 280, 270, 275), (260, 280, 280, 300), (275, 275, 275, 305),
    (280, 290, 300, 290), (320, 290, 300, 290), (300, 300, 310, 300), (270, 250, 330, 370),
    (320, 330, 330, 330), (335, 320, 335, 375), (350, 320, 340, 365), (360, 320, 350, 345),
    (330, 340, 380, 390), (335, 385, 360, 370), (400, 420, 425, 420), (430, 460, 480, 470),
)  # fmt: skip


def test_bland_and_altman_1996() -> None:
    sd = within_dog_sd(CHILDREN)

    assert sd**2 == pytest.approx(460.52, abs=0.005)
    assert sd == pytest.approx(21.5, abs=0.05)
