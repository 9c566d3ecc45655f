from io import StringIO
from unittest.mock import patch

from django.core.management import CommandError, call_command

from apps.accounts.models import Role, User
from apps.trail.models import TrailEntry
from tests.cast import LabTestCase

ASK = "apps.accounts.management.commands.person.getpass.getpass"


class PersonCommandTests(LabTestCase):
    def call(self, *args: str) -> str:
        out = StringIO()
        call_command("person", *args, stdout=out)
        return out.getvalue()

    def test_the_first_manager(self):
        with patch(ASK, return_value="twelve threads a side"):
            told = self.call("nadia", "--name", "Nadia Needle", "--roles", "manager,bench")
        self.assertEqual(told, "Nadia Needle may sign in as nadia (bench technician, lab manager).\n")
        nadia = User.objects.get(username="nadia")
        self.assertEqual(nadia.roles, {Role.MANAGER, Role.BENCH})
        self.assertTrue(nadia.check_password("twelve threads a side"))
        entry = TrailEntry.objects.get(stream=f"user:{nadia.pk}")
        self.assertEqual((entry.actor_id, entry.actor_name), (None, "the house itself"))

    def test_a_password_made_up_is_shown_once(self):
        told = self.call("nadia", "--name", "Nadia Needle", "--generate")
        self.assertTrue(User.objects.get(username="nadia").check_password(told.split()[-1]))

    def test_it_refuses(self):
        for arguments, sentence in [
            (("nadia", "--name", "N", "--roles", "boss"), "No such role: boss"),
            (("nadia", "--name", "N", "--roles", "customer"), "No such role: customer"),
            (("fran", "--name", "N", "--generate"), "This user name is taken."),
            (("na dia", "--name", "N", "--generate"), "without spaces"),
            (("nadia", "--name", " ", "--generate"), "A person needs a name."),
        ]:
            with self.subTest(arguments=arguments), self.assertRaisesMessage(CommandError, sentence):
                self.call(*arguments)

    def test_two_different_passwords(self):
        with patch(ASK, side_effect=["one", "two"]), self.assertRaisesMessage(CommandError, "not the same"):
            self.call("nadia", "--name", "N")
        with patch(ASK, return_value="short"), self.assertRaisesMessage(CommandError, "too short"):
            self.call("nadia", "--name", "N")
        self.assertFalse(User.objects.filter(username="nadia").exists())
