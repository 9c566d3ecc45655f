"""Every operation of the interface, told once: the door asks for what stands here, the document prints it."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from apps.accounts.models import STAFF_ROLES, Role

BASE = "/api/1"
JSON = "application/json"
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
EVERYBODY = frozenset(Role)
LAB = frozenset(STAFF_ROLES)
READERS = frozenset({Role.BENCH, Role.MANAGER})
LARGEST = 256 * 1024

NUMBER = {"type": "string", "pattern": "^[0-9A-Za-z-]{1,24}$"}
DAY = {"type": "string", "format": "date", "pattern": "^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"}
UUID = "^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$"
KEY_HEADER = "Idempotency-Key"


class Wrong(ValueError):
    """A value that is none of the kind asked for; the sentence says which are."""


@dataclass(frozen=True)
class Parameter:
    """A filter in the address: its kind as JSON Schema, and how its text is read."""

    name: str
    about: str
    schema: dict[str, Any]
    read: Callable[[str], Any]
    default: Any = None


@dataclass(frozen=True)
class Operation:
    name: str
    path: str  # after BASE, as the document writes it
    about: str
    roles: frozenset[Role]
    answer: str  # the name of a schema, or a media type of a file
    method: str = "GET"
    parameters: tuple[Parameter, ...] = ()
    path_parameters: dict[str, str] = field(default_factory=dict)
    body: str = ""  # the name of a schema

    @property
    def methods(self) -> tuple[str, ...]:
        return ("GET", "HEAD") if self.method == "GET" else (self.method,)

    @property
    def who(self) -> str:
        told = {EVERYBODY: "everybody", LAB: "everybody in the lab"}
        return told.get(self.roles) or ", ".join(role.label for role in Role if role in self.roles)


def _number(text: str) -> str:
    if not re.fullmatch(NUMBER["pattern"][1:-1], text, re.ASCII):
        raise Wrong("A number is letters, digits and hyphens, such as 26-00147N.")
    return text


def _limit(text: str) -> int:
    if not re.fullmatch("[1-9][0-9]{0,2}", text, re.ASCII) or int(text) > 100:
        raise Wrong("A page holds 1 to 100 rows.")
    return int(text)


def _day(text: str) -> date:
    try:
        if not re.fullmatch(DAY["pattern"][1:-1], text, re.ASCII):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError as error:
        raise Wrong("A day is written as 2026-03-02, of the years 2000 to 2099.") from error


def _one_of(*words: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in words:
            raise Wrong(f"One of these: {', '.join(words)}.")
        return text

    return read


def _words(text: str) -> str:
    if not 0 < len(text) <= 80 or "\0" in text:
        raise Wrong("1 to 80 characters.")
    return text


def _choice(name: str, about: str, *words: str) -> Parameter:
    return Parameter(name, about, {"type": "string", "enum": [*words], "default": words[0]}, _one_of(*words), words[0])


LIMIT = Parameter("limit", "Rows a page.", {"type": "integer", "minimum": 1, "maximum": 100, "default": 50}, _limit, 50)
WORDS = {"type": "string", "minLength": 1, "maxLength": 80}
ORDER = Parameter("purchase_order", "The customer's order number, exactly.", WORDS, _words)


def _after(what: str) -> Parameter:
    about = f"Go on after the {what} of this number; next holds the whole address."
    return Parameter("after", about, NUMBER, _number)


OPERATIONS = {
    operation.name: operation
    for operation in (
        Operation("me", "/me", "Whose token this is and what it may.", EVERYBODY, "Me"),
        Operation(
            "list_jobs",
            "/jobs",
            "Jobs, the newest first: a customer's person sees the own company's.",
            EVERYBODY,
            "Jobs",
            parameters=(
                _choice("show", "All jobs, or those with work left.", "all", "open"),
                ORDER,
                Parameter("received_since", "Received on this day or later.", DAY, _day),
                _after("job"),
                LIMIT,
            ),
        ),
        Operation(
            "get_job",
            "/jobs/{number}",
            "One job: its samples, how each is tested, and where each test stands. Specimens are told to the lab only.",
            EVERYBODY,
            "Job",
            path_parameters={"number": "The job's number."},
        ),
        Operation(
            "list_reports",
            "/reports",
            "Issued reports, the newest first.",
            EVERYBODY,
            "Reports",
            parameters=(
                _choice("show", "All revisions, or those in force.", "all", "in_force"),
                Parameter("job", "Of the job of this number.", NUMBER, _number),
                Parameter("issued_since", "Issued on this day or later.", DAY, _day),
                _after("report"),
                LIMIT,
            ),
        ),
        Operation(
            "get_report",
            "/reports/{number}",
            "One report: where it stands now, its files, and its facts as they were issued.",
            EVERYBODY,
            "Report",
            path_parameters={"number": "The report's number."},
        ),
        Operation(
            "get_report_facts",
            "/reports/{number}/json",
            "The facts byte for byte as they were frozen; their SHA-256 is facts_sha256 of the report.",
            EVERYBODY,
            "Facts",
            path_parameters={"number": "The report's number."},
        ),
        Operation(
            "get_report_pdf",
            "/reports/{number}/pdf",
            "The signed file as it was made; 404 while it is being made.",
            EVERYBODY,
            "application/pdf",
            path_parameters={"number": "The report's number."},
        ),
        Operation(
            "get_report_csv",
            "/reports/{number}/csv",
            "Results and readings for a spreadsheet, from the same facts.",
            EVERYBODY,
            "text/csv",
            path_parameters={"number": "The report's number."},
        ),
        Operation(
            "get_report_xlsx",
            "/reports/{number}/xlsx",
            "The same as a workbook.",
            EVERYBODY,
            WORKBOOK,
            path_parameters={"number": "The report's number."},
        ),
        Operation(
            "get_specimen",
            "/specimens/{label}",
            "The specimen of a label, with what is to be read now and what was read.",
            LAB,
            "Specimen",
            path_parameters={"label": "The label's code, with its check character; hyphens may be left out."},
        ),
        Operation(
            "send_readings",
            "/readings",
            "Readings of a measuring device, all or nothing, by the rules of the readings sheet. The same key again is "
            "answered with what it did.",
            READERS,
            "Sent",
            method="POST",
            body="Readings",
        ),
    )
}
