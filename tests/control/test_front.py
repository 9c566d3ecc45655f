"""The front page of control: whoever works in the lab looks at it."""

import pytest

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["bea", "mara"])
def test_shows_in_the_navigation(client, people, name):
    client.force_login(getattr(people, name))
    page = client.get("/control/")
    assert page.status_code == 200 and b'href="/control/"' in page.content


def test_is_not_for_customers(client, people):
    client.force_login(people.casey)
    assert client.get("/control/").status_code == 403
