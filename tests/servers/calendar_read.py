"""Reads a calendar (RFC 5545) from its input with a general reader and prints what it found as JSON.

Needs icalendar from the Python package index.
"""

import json
import sys

from icalendar import Calendar


def event(component):
    def text(name):
        value = component.get(name)
        return None if value is None else str(value)

    def moment(name):
        value = component.decoded(name)
        return value.isoformat()

    return {
        "uid": text("UID"),
        "sequence": int(component["SEQUENCE"]),
        "status": text("STATUS"),
        "summary": text("SUMMARY"),
        "description": text("DESCRIPTION"),
        "organizer": text("ORGANIZER"),
        "starts": moment("DTSTART"),
        "ends": moment("DTEND"),
        "stamp": moment("DTSTAMP"),
        "errors": [str(error) for error in component.errors],
    }


# Line ends must reach the reader as they are.
given = sys.stdin.buffer.read()
calendar = Calendar.from_ical(given)
print(
    json.dumps(
        {
            "version": str(calendar["VERSION"]),
            "product": str(calendar["PRODID"]),
            "method": None if calendar.get("METHOD") is None else str(calendar["METHOD"]),
            "errors": [str(error) for error in calendar.errors],
            "events": [event(it) for it in calendar.walk("VEVENT")],
        }
    )
)
