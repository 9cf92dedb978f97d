"""Bumpers: which motions each takes away, and for how long it is felt."""

import pytest

from rover.devices.readings import RangeValue
from rover.motion.contact import Contacts
from rover.motion.hold_backs import BACKWARDS, FORWARDS, LEFT, RIGHT


def bumper(end):
    return {"driver": "my_lab.bumper:Bumper", "contact": end, "signals": {"pressed": "yes or no", "force": "number"}}


@pytest.mark.parametrize(
    ("end", "motions"),
    [("front", FORWARDS), ("rear", BACKWARDS), ("left", LEFT | RIGHT), ("right", LEFT | RIGHT)],
)
def test_each_end_takes_the_motions_that_push_on(cart, end, motions):
    contacts = Contacts(cart({"bumper": bumper(end)}))
    contacts.feel("bumper", {"pressed": True})
    assert contacts.found == ((f"contact {end}", motions),)


def test_it_is_felt_until_a_report_says_otherwise(cart):
    contacts = Contacts(cart({"bumper": bumper("front")}))
    contacts.feel("bumper", {"pressed": True})
    contacts.feel("bumper", {"pressed": False})
    assert contacts.found == ()


@pytest.mark.parametrize("value", [{}, {"pressed": None}, {"force": 3.0}])
def test_what_a_report_does_not_know_is_no_contact(cart, value):
    contacts = Contacts(cart({"bumper": bumper("front")}))
    contacts.feel("bumper", value)
    assert contacts.found == ()


@pytest.mark.parametrize("value", [{}, {"pressed": None}])
def test_nor_does_it_end_one_that_is_felt(cart, value):
    contacts = Contacts(cart({"bumper": bumper("front")}))
    contacts.feel("bumper", {"pressed": True})
    contacts.feel("bumper", value)
    assert contacts.found == (("contact front", FORWARDS),)


def test_other_devices_tell_of_none(cart):
    door = {"driver": "my_lab.door:Door", "signals": {"open": "yes or no"}}
    contacts = Contacts(cart({"door": door}))
    contacts.feel("door", {"open": True})
    contacts.feel("range", RangeValue(0.03))
    assert contacts.found == ()


def test_two_are_felt_together(cart):
    contacts = Contacts(cart({"front": bumper("front"), "rear": bumper("rear")}))
    contacts.feel("front", {"pressed": True})
    contacts.feel("rear", {"pressed": True})
    assert dict(contacts.found) == {"contact front": FORWARDS, "contact rear": BACKWARDS}
