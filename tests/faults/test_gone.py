"""The lab's own server: its database is gone for a while, and two web processes behave as one."""

import http.client
import re
import subprocess
import uuid
from contextlib import contextmanager
from urllib.parse import urlencode

import psycopg
import pytest

from tests.cluster import SETTINGS
from tests.faults.house import Server, Supervised, free_port, until

pytestmark = pytest.mark.postgres_only


class Browser:
    """Cookies, and the front that is asked next."""

    def __init__(self, host: str, ports: list[int]) -> None:
        self.host, self.ports, self.asked, self.cookies = host, ports, 0, {}

    def ask(self, method: str, path: str, fields: dict[str, str] | None = None) -> tuple[int, str]:
        """Each request to the other front, as a proxy that takes turns."""
        port = self.ports[self.asked % len(self.ports)]
        self.asked += 1
        headers = {"Host": self.host, "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        headers |= {"Referer": f"http://{self.host}/", "Content-Type": "application/x-www-form-urlencoded"}
        body = urlencode({**(fields or {}), "csrfmiddlewaretoken": self.cookies.get("csrftoken", "")})
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        try:
            connection.request(method, path, body if method == "POST" else None, headers)
            answer = connection.getresponse()
            for name, value in answer.getheaders():
                if name.lower() == "set-cookie":
                    key, _, rest = value.partition("=")
                    self.cookies[key] = rest.split(";")[0]
            return answer.status, answer.read().decode()
        finally:
            connection.close()

    def come_in(self, password: str) -> None:
        assert self.ask("GET", "/sign-in/")[0] == 200
        status, page = self.ask("POST", "/sign-in/", {"username": "mara", "password": password})
        assert status == 302, page


@contextmanager
def a_lab(fronts: int):
    """A server with so many web processes, each on a port of its own, over one database."""
    house = Server(SETTINGS)
    try:
        house.lay_out()
        add = ["python", "manage.py", "person", "mara", "--name", "Mara Manager", "--roles", "manager", "--generate"]
        webs, ports = [house.web], [house.port]
        for _ in range(fronts - 1):
            ports.append(free_port())
            command = [part.replace(str(house.port), str(ports[-1])) for part in house.web.command[3:]]
            webs.append(Supervised(command, folder=house.web.folder, environment=house.environment, log=house.log))
        said = subprocess.run(
            add, cwd=house.web.folder, env=house.environment, stdout=subprocess.PIPE, text=True, check=True
        ).stdout
        (password,) = re.findall(r"shown this once: (\S+)", said)
        with house.running(*webs):
            for port in ports:
                house.port = port
                house.wait_until_well()
            browser = Browser(house.host, ports)
            browser.come_in(password)
            yield house, browser
    finally:
        house.clear_up()


def customers(house: Server) -> list[str]:
    with psycopg.connect(house.cluster.url("production")) as connection:
        return [name for (name,) in connection.execute("SELECT name FROM accounts_customer ORDER BY name")]


def a_form(name: str) -> dict[str, str]:
    return {"key": str(uuid.uuid4()), "name": name, "address": "", "contact": "", "email": ""}


def test_a_database_that_is_gone_for_a_while_and_two_fronts_that_are_one():
    with a_lab(fronts=2) as (house, browser):
        # Two fronts: signed in at one is signed in at the other, and a form sent to both is done once.
        form = a_form("Weberei Neu")
        for _ in range(4):
            assert browser.ask("POST", "/customers/new/", form)[0] == 302
        assert customers(house) == ["Weberei Neu"]
        assert all(browser.ask("GET", "/people/")[0] == 200 for _ in range(4))

        form = a_form("Spinnerei Später")
        house.cluster.server.kill()
        house.cluster.server.wait()
        for _ in range(4):
            status, page = browser.ask("POST", "/customers/new/", form)
            assert status == 503 and "what you typed is still in the page" in page
        assert browser.ask("GET", "/healthz")[0] == 503
        house.cluster.run()
        until(lambda: browser.ask("GET", "/healthz")[0] == 200, pause=0.2)
        for _ in range(2):
            assert browser.ask("POST", "/customers/new/", form)[0] == 302
        assert customers(house) == ["Spinnerei Später", "Weberei Neu"]

        # What is changed through one is seen through the other at once; signing out at one is out at both.
        assert browser.ask("POST", "/sign-out/")[0] == 302
        assert [browser.ask("GET", "/people/")[0] for _ in range(2)] == [302, 302]
