"""The report as a PDF, made from its frozen facts alone: the same facts give the same bytes."""

from apps.reporting.pdf.document import build

__all__ = ["build"]
