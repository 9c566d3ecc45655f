"""The facts of a report: `freeze` takes them from the tables, `Facts` reads them for all that is printed."""

from apps.reporting.facts.freezing import Approval, freeze
from apps.reporting.facts.marks import changes, seen
from apps.reporting.facts.reader import Facts

__all__ = ["Approval", "Facts", "changes", "freeze", "seen"]
