"""Names that are printed: of people, companies, the lab, machines, tokens, check fabrics and orders."""

import pytest

from apps.accounts import queries, services
from apps.control import services as control
from apps.core.errors import Refusal
from apps.equipment import services as equipment
from tests.cast import NOON, LabTestCase

# A bell, an escape, half a pair, and signs that turn what follows round.
BAD = ("\a", "\x1b[31m", "\x7f", "\ud83e", "\u202e", "\u2066")


@pytest.mark.once
class NameTests(LabTestCase):
    def setUp(self):
        self.by_mara = {"by": self.mara, "at": NOON}

    def customer(self, name="Wollhaus", **more):
        details = {"name": name, "address": "Weg 1\nOrt", "contact": "", "email": "", **more}
        return services.create_customer(**details, **self.by_mara)

    def person(self, full_name):
        rest = {"email": "", "roles": frozenset({"bench"}), "customer": None, "password": "a shorter cloth 26"}
        return services.create_person(username="neu", full_name=full_name, **rest, **self.by_mara)

    def lab(self, **texts):
        lab = queries.the_lab()
        settings = {name: getattr(lab, name) for name in services.LAB_FIELDS} | texts
        return services.change_lab_settings(settings=services.LabSettings(**settings), **self.by_mara)

    def test_a_sign_that_cannot_be_printed_is_refused_beside_its_field(self):
        for sign in BAD:
            bad = f"Woll{sign}haus"
            for field, act in (
                ("name", lambda bad=bad: self.customer(bad)),
                ("address", lambda bad=bad: self.customer(address=f"Weg 1\n{bad}")),
                ("contact", lambda bad=bad: self.customer(contact=bad)),
                ("full_name", lambda bad=bad: self.person(bad)),
                ("name", lambda bad=bad: self.lab(name=bad)),
                ("location", lambda bad=bad: self.lab(location=bad)),
                ("name", lambda bad=bad: services.make_token(name=bad, ends_on=NOON.date(), **self.by_mara)),
                (
                    "name",
                    lambda bad=bad: equipment.add_equipment(
                        kind="washer", details=equipment.Details(bad), **self.by_mara
                    ),
                ),
                ("name", lambda bad=bad: control.add_fabric(name=bad, lot="7", **self.by_mara)),
            ):
                with self.subTest(ascii(bad), field=field), self.assertRaises(Refusal) as told:
                    act()
                self.assertEqual((told.exception.code, told.exception.field), ("not_text", field))

    def test_what_people_are_called_is_kept(self):
        for name in (
            "Zoë O\u2019Malley-Ñandú",
            "\u7e54\u7269\u8a66\u9a13",
            "\u0645\u062e\u062a\u0628\u0631",
            "Müller & Söhne, KG",
        ):
            self.assertEqual(self.customer(name).name, name)

    def test_spaces_are_put_in_order_and_lines_are_kept(self):
        made = self.customer("  Wollhaus \t Nord ", address="Weg 1 \r\n\r\nOrt\r\n")
        self.assertEqual((made.name, made.address), ("Wollhaus Nord", "Weg 1\n\nOrt"))
