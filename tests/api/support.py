"""Asking as a program does."""

import json
import uuid
from datetime import timedelta
from typing import Any

from django.test import Client

from apps.accounts.models import User
from apps.accounts.services import make_token
from apps.intake.models import Specimen
from apps.intake.queries import label_code
from tests.cast import NOON, LabTestCase


def a_token(person: User, name: str = "") -> str:
    """The text of a token that holds for a day."""
    ends_on = NOON.date() + timedelta(days=1)
    return make_token(name=name or f"program {uuid.uuid4()}", ends_on=ends_on, by=person, at=NOON)[1]


def a_reading(specimen: Specimen, value: str = "250", **how: Any) -> dict[str, Any]:
    plain = {"specimen": label_code(specimen.code), "direction": "length", "pair": 1, "stage": 0, "value": value}
    return {**plain, "unit": "mm", **how}


def send(client: Client, token: str, body: Any, *, key: str | None = None, **headers: str):
    """Readings, under a key of their own unless it is told; bytes are sent as they are."""
    headers = {"authorization": f"Bearer {token}", "idempotency-key": key or str(uuid.uuid4()), **headers}
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    media = headers.pop("content_type", "application/json")
    return client.post("/api/1/readings", content, content_type=media, headers=headers)


class ApiTestCase(LabTestCase):
    def setUp(self):
        self.tokens: dict[int, str] = {}

    def token(self, person: User) -> str:
        if person.pk not in self.tokens:
            self.tokens[person.pk] = a_token(person)
        return self.tokens[person.pk]

    def ask(self, person: User, address: str, **query: Any):
        path = address if address.startswith("/") else f"/api/1/{address}"
        return self.client.get(path, query, headers={"authorization": f"Bearer {self.token(person)}"})

    def told(self, person: User, address: str, **query: Any) -> Any:
        response = self.ask(person, address, **query)
        assert response.status_code == 200, response.content
        return response.json()

    def refused(self, response, status: int, code: str, field: str | None = None) -> dict[str, Any]:
        """Every error has the same shape."""
        assert response.status_code == status, (response.status_code, response.content)
        assert response["Content-Type"] == "application/json"
        error = response.json()["error"]
        assert set(error) - {"each"} == {"code", "sentence", "field"} and error["sentence"]
        assert (error["code"], error["field"]) == (code, field), error
        return error

    def readings(self, person: User, body: Any, **how: Any):
        return send(self.client, self.token(person), body, **how)
