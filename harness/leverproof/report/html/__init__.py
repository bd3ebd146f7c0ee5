"""The HTML test guide: one file, made from a record alone, that fetches nothing and can be read, searched and printed
offline."""

from leverproof.report.html.guide import render

__all__ = ["render"]
