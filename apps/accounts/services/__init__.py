"""What the house does with people, customers, its own settings and its letters."""

from apps.accounts.services.asked import asked_too_often
from apps.accounts.services.customers import change_customer, create_customer
from apps.accounts.services.invitations import ask_for_link, choose_password, invite, person_of_link
from apps.accounts.services.lab import change_lab_settings
from apps.accounts.services.letters import send_due, send_later, write_to_customer
from apps.accounts.services.logo import set_logo
from apps.accounts.services.people import change_person, create_person, set_password
from apps.accounts.services.seen import LAB_FIELDS, LabSettings, seen
from apps.accounts.services.sign_in import record_failed_sign_in, record_sign_in
from apps.accounts.services.tokens import end_token, make_token, note_use

__all__ = [
    "LAB_FIELDS",
    "LabSettings",
    "ask_for_link",
    "asked_too_often",
    "change_customer",
    "change_lab_settings",
    "change_person",
    "choose_password",
    "create_customer",
    "create_person",
    "end_token",
    "invite",
    "make_token",
    "note_use",
    "person_of_link",
    "record_failed_sign_in",
    "record_sign_in",
    "seen",
    "send_due",
    "send_later",
    "set_logo",
    "set_password",
    "write_to_customer",
]
