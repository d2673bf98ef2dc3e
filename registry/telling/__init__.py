"""Reads put into finished words and drawings, for a page, a sheet of paper or the interface alike.

Above queries, wording, charts and paper; below the faces. What is shown about a result is decided
here once. No request, no template, no write.
"""
