"""Reading the frozen facts of a report. Never a model, never a query."""

import json
from collections.abc import Mapping
from functools import cached_property
from typing import Any

from apps.core.jsontext import canonical, sha256
from apps.reporting.facts.request import RequestFacts
from apps.reporting.facts.runs import DryingLine, LoadLine, drying_lines, load_lines
from apps.reporting.facts.told import span, when
from apps.reporting.facts.wording import OPENED_FOR

READABLE_VERSIONS = (1,)


class UnknownFacts(ValueError):
    """Facts of a version that this house does not read."""


class Facts:
    """The facts of one report. Attributes are the parts of the facts; methods tell them."""

    def __init__(self, data: Mapping[str, Any]) -> None:
        if data.get("facts_version") not in READABLE_VERSIONS:
            raise UnknownFacts(f"Facts of version {data.get('facts_version')!r} are not known here.")
        self.data = data
        self.report, self.lab, self.customer, self.job = (data[k] for k in ("report", "lab", "customer", "job"))
        self.samples, self.loads, self.dryings = data["samples"], data["loads"], data["dryings"]
        self.people, self.statements, self.is_demo = data["people"], data["statements"], data["is_demo"]
        self.title, self.subject = data["title"], data["subject"]

    @classmethod
    def read(cls, text: str) -> "Facts":
        return cls(json.loads(text))

    @cached_property
    def text(self) -> str:
        """Canonical JSON: the same facts, the same text."""
        return canonical(self.data)

    @property
    def sha256(self) -> str:
        return sha256(self.text)

    @property
    def number(self) -> str:
        return self.report.get("number", "")

    @cached_property
    def requests(self) -> list[RequestFacts]:
        return [RequestFacts(request, self.sample(request["sample"])) for request in self.data["requests"]]

    def sample(self, code: str) -> Mapping[str, Any]:
        return next(sample for sample in self.samples if sample["code"] == code)

    @property
    def performed(self) -> str:
        return span(self.data["performed"])

    @property
    def received(self) -> str:
        return when(self.job["received_at"])

    @property
    def issued(self) -> str:
        return when(self.report.get("issued_at"))

    @property
    def place(self) -> str:
        """Where the work was done; the lab's address when nothing else is said."""
        return self.lab["location"] or self.lab["address"]

    @property
    def claims_scope(self) -> bool:
        """Whether any result lies within an accreditation; only then is it told of each whether it does."""
        return any(request.method["in_scope"] for request in self.requests)

    @property
    def load_lines(self) -> list[LoadLine]:
        return load_lines(self.loads)

    @property
    def drying_lines(self) -> list[DryingLine]:
        return drying_lines(self.dryings)

    @property
    def deviations(self) -> list[dict[str, Any]]:
        """What was done otherwise, with where and when told."""
        return [{**row, "where": self._where(row), "when": when(row["at"])} for row in self.data["deviations"]]

    @staticmethod
    def _where(row: Mapping[str, Any]) -> str:
        if row["specimen"]:
            return row["specimen"]
        if row["request"]:
            return row["request"]
        return f"load {row['load']}" if row["load"] is not None else "whole job"

    @property
    def not_covered_told(self) -> str:
        """A sentence when the job has requests that this report does not cover; otherwise nothing."""
        others = self.report["not_covered"]
        if not others:
            return ""
        covered = len(self.report["covers"])
        return (
            f"Partial report: it covers {covered} of the {covered + len(others)} tests ordered under "
            f"{self.job['number']}. Not in this report: {', '.join(code.rsplit('-', 1)[1] for code in others)}."
        )

    @property
    def verify_page(self) -> str:
        """Where anybody may ask about the file, as a person types it."""
        address, _, _ = (self.report.get("verify_at") or "").partition("?")
        return address.partition("://")[2]

    @property
    def external(self) -> list[dict[str, Any]]:
        """Results of other laboratories."""
        return self.data.get("external", [])

    @property
    def retests_told(self) -> list[str]:
        return [request.retest_told for request in self.requests if request.retest_told]

    @property
    def cancelled_told(self) -> str:
        rows = self.report.get("cancelled") or []
        told = "; ".join(f"{row['code'].rsplit('-', 1)[1]}: {row['reason']}" for row in rows)
        return f"Cancelled before it was reported: {told}." if told else ""

    @property
    def is_interim(self) -> bool:
        return bool(self.report.get("interim"))

    @property
    def follows_told(self) -> str:
        """A sentence when interim reports came before this one."""
        before = self.report.get("follows") or []
        if not before:
            return ""
        many = "reports" if len(before) > 1 else "report"
        return f"It takes the place of the interim {many} {', '.join(before)}."

    @property
    def amends(self) -> Mapping[str, Any] | None:
        return self.report.get("amends")

    @property
    def amendment_told(self) -> str:
        amends = self.amends
        if not amends:
            return ""
        return (
            f"This report amends and replaces report {amends['number']}, issued {when(amends['issued_at'])}. Reason: "
            f"{amends['reason']}. It was opened for: {OPENED_FOR[amends['opened_for']]}."
        )

    @property
    def authorised_by(self) -> str:
        """Name, role, how this person signs, and whether the person also read values."""
        approved = self.report["approved_by"]
        parts = [approved["name"], approved["role"], approved.get("signs_as", "")]
        also = " (who also read values of this test)" if approved["read_values"] else ""
        return ", ".join(part for part in parts if part) + also

    @property
    def revision(self) -> int:
        return self.report.get("revision", 0)
