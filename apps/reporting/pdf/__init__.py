"""The report as a PDF/A-3b, made from its frozen facts alone: the same facts give the same bytes."""

from apps.reporting.pdf.archive import check_archivable
from apps.reporting.pdf.document import build, pages

__all__ = ["build", "check_archivable", "pages"]
