"""The published check values in ``fixtures/published/``, by topic and id."""

import json
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "published"


@cache
def topic(name: str) -> dict[str, dict[str, Any]]:
    """Return the cases of one topic by their id."""
    cases = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))["cases"]
    return {case["id"]: case for case in cases}
