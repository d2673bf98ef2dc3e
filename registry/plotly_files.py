"""Where the static files of Plotly come from: the installed package, and only the one script.

The package's folder also holds data sets and templates that no page uses, so
it cannot simply be a static folder.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import plotly
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage

NAME = "plotly.min.js"
PREFIX = "plotly"


class PlotlyFinder(BaseFinder):
    """Find `plotly/plotly.min.js` in the installed plotly package, and nothing else."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self._folder = Path(plotly.__file__).parent / "package_data"
        super().__init__(*args, **kwargs)

    def check(self, **kwargs: Any) -> list[Any]:
        """Report nothing: a missing script is found out by the tests and by collectstatic."""
        return []

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> Any:
        """Return the file's place when `path` names it, else an empty list."""
        if path != f"{PREFIX}/{NAME}":
            return []
        place = str(self._folder / NAME)
        return [place] if find_all or kwargs.get("all") else place

    def list(self, ignore_patterns: Any) -> Iterator[Any]:
        """Yield the one file with a storage that puts it below `plotly/`."""
        storage = FileSystemStorage(location=self._folder)
        storage.prefix = PREFIX  # type: ignore[attr-defined]
        yield NAME, storage
