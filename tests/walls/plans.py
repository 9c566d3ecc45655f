"""Every statement that the house's pages send, PostgreSQL's plan of each, and what in it reads a large table whole."""

import json
import re
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qsl, urljoin, urlsplit

from django.apps import apps
from django.db import connection, transaction
from django.urls import resolve
from django.utils import timezone

from apps.accounts import services as accounts
from apps.accounts.models import User
from tests.walls.house import TODAY, Address, addresses
from tests.walls.page import Page
from tests.walls.walker import NOBODY, Walk, is_page

# What a lab has tens or hundreds of, however long it works. Any other table is large: a new one until it is named here.
FEW_APPS = {"auth", "contenttypes", "methods", "axes"}
FEW = {
    *("accounts.lab", "accounts.user", "accounts.customer", "accounts.token", "intake.jobserial"),
    *("equipment.equipment", "equipment.calibration", "equipment.outofservice", "equipment.tolerance"),
    *("equipment.atmosphereimport", "measuring.conditioningrule", "reporting.signatory"),
    *("control.checkfabric", "control.study"),
    # What goes wrong, and is written down one by one.
    *("laundering.kepttap", "reporting.nonconformity", "reporting.nonconformitynote"),
}
ALL_THE_SAME = (
    r'SELECT COUNT\(\*\) AS "__count" FROM "intake_job"',  # a list of everything says how many there are
    r".* LIKE UPPER\(%s\).*",  # a word is looked for anywhere in a text
)
FORBIDDEN = ("seqscan", "indexscan", "indexonlyscan", "hashjoin", "mergejoin")  # left: bitmaps, of rows looked up
LISTS = re.compile(r"IN \((?:%s, )*%s\)")  # as many as there are rows: one statement all the same
NEEDING_ALL = {"Sort", "Aggregate", "Hash", "Materialize", "WindowAgg", "Group", "Unique"}
EACH = 4  # pages of a kind as the manager; one as anybody else
TYPED = {
    "mara": (
        *("/receiving/?q=poplin", "/receiving/?show=all&q=invented", "/receiving/?show=all&page=2"),
        *("/scan/?q=poplin", "/scan/?q=26-00003", "/scan/?q=A1", "/scan/?q=Quellbach", "/customers/?q=hem"),
    ),
    "casey": ("/my/?q=poplin", "/my/?show=open", "/my/reports/?q=26-0"),
}


@dataclass
class Statement:
    """One that a page sent; those alike but for their figures are one."""

    page: str
    sql: str
    params: Any

    def plan(self) -> dict[str, Any]:
        """All ways of reading forbidden but looking rows up in an index: what remains of the others had no choice.

        So it is told of a book of any size; which way is quickest in a large one is the bench's question.
        """
        with transaction.atomic(), connection.cursor() as cursor:
            for other_way in FORBIDDEN:
                cursor.execute(f"SET LOCAL enable_{other_way} = off")
            cursor.execute(f"EXPLAIN (FORMAT JSON) {self.sql}", self.params)
            (found,) = cursor.fetchone()
            transaction.set_rollback(True)
        return (json.loads(found) if isinstance(found, str) else found)[0]["Plan"]


@dataclass
class Listening:
    page: str = ""
    heard: dict[str, Statement] = field(default_factory=dict)

    def __call__(self, execute: Callable, sql: str, params: Any, many: bool, context: dict) -> Any:
        if not many and re.match(r"\(?\s*(SELECT|UPDATE|DELETE|INSERT)", sql):
            self.heard.setdefault(LISTS.sub("IN (%s)", sql), Statement(self.page, sql, params))
        return execute(sql, params, many, context)

    @contextmanager
    def to(self, page: str) -> Iterator[None]:
        self.page = page
        with connection.execute_wrapper(self):
            yield


@dataclass
class Reader(Listening):
    """Opens every page as everybody who may, with what its own links ask for and what may be looked for."""

    walk: Walk = field(default_factory=Walk)
    asked: set[tuple[str, ...]] = field(default_factory=set)

    def read_all(self) -> list[Statement]:
        found = addresses(EACH)
        for who in self.walk.clients:
            roles = frozenset() if who == NOBODY else User.objects.get(username=who).roles
            times: Counter[str] = Counter()
            for address in found:
                times[address.view] += 1
                may = not address.by_token and (address.roles is None or address.roles & roles)
                if may and (who == "mara" or times[address.view] == 1):
                    self.read_with_links(who, address.path)
        for who, paths in TYPED.items():
            for path in paths:
                self.read(who, path)
            self.read_as_program(who, [address for address in found if address.by_token])
        return list(self.heard.values())

    def read(self, who: str, path: str, **headers: str) -> str:
        with self.to(f"{who} at {path}"):
            answer = self.walk.client(who).get(path, headers=headers)
        assert answer.status_code < 500, (who, path)
        return answer.content.decode() if is_page(answer) else ""

    def read_with_links(self, who: str, here: str) -> None:
        """Of links that ask for something one of each kind."""
        for href in Page(self.read(who, here), here).links:
            parts = urlsplit(urljoin(here, href))
            if parts.query and not parts.netloc:
                kind = (resolve(parts.path).view_name, *sorted(dict(parse_qsl(parts.query))))
                if kind not in self.asked:
                    self.asked.add(kind)
                    self.read(who, parts._replace(fragment="").geturl())

    def read_as_program(self, who: str, found: list[Address]) -> None:
        until, by = timezone.localdate(TODAY) + timedelta(days=9), User.objects.get(username=who)
        _, text = accounts.make_token(name="plans", ends_on=until, by=by, at=TODAY)
        for address in found:
            self.read(who, address.path, authorization=f"Bearer {text}")


def large_tables() -> set[str]:
    models = apps.get_models(include_auto_created=True)
    large = [m for m in models if m._meta.app_label not in FEW_APPS and m._meta.label_lower not in FEW]
    return {model._meta.db_table for model in large}


def partial_indexes() -> set[str]:
    """Those that hold only what is asked for: read whole, they are short."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT indexrelid::regclass::text FROM pg_index WHERE indpred IS NOT NULL")
        return {name for (name,) in cursor.fetchall()}


def whole_reads(plan: dict[str, Any], large: set[str], partial: set[str], stopped: bool = False) -> Iterator[str]:
    """Each node that reads a large table from end to end. `stopped`: a LIMIT ends it as soon as it has enough."""
    kind, table = plan["Node Type"], plan.get("Relation Name")
    looks_up = "Index Cond" in plan or plan.get("Index Name") in partial
    looks_up = looks_up or kind in ("Bitmap Heap Scan", "ModifyTable")  # these change or fetch what others below found
    if table in large and not looks_up and ("Filter" in plan or not stopped):
        yield f"{table}: no index serves {plan.get('Filter', 'it')}"
    chooses = "Filter" in plan or "Join Filter" in plan or kind in NEEDING_ALL
    stopped = kind == "Limit" or (stopped and not chooses)
    for below in plan.get("Plans", ()):
        yield from whole_reads(below, large, partial, stopped)
