"""What the bench does: mark, read, put right. Other rooms import from here."""

from apps.measuring.services.entry import Entry, SheetRefused, correct_reading, enter_reading, enter_readings
from apps.measuring.services.extras import ExtraEntry, enter_extras
from apps.measuring.services.marking import GarmentMarks, cut_and_mark, lose_mark, mark_specimens
from apps.measuring.services.resting import put_on_rack, set_rule, weigh

__all__ = [
    "Entry",
    "ExtraEntry",
    "GarmentMarks",
    "SheetRefused",
    "correct_reading",
    "cut_and_mark",
    "enter_extras",
    "enter_reading",
    "enter_readings",
    "lose_mark",
    "mark_specimens",
    "put_on_rack",
    "set_rule",
    "weigh",
]
