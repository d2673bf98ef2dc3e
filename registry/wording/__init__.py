"""Sentences that pages and paper share: standings in words, verdicts, cautions, dates.

Only words belong here: values in, translated plain text out. No queries, no markup, no request;
what is said about a number is decided here once, so that a page and a sheet of paper cannot differ.
"""
