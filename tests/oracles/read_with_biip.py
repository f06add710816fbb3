"""Reads each code on standard input, a JSON array, with biip, and says what it holds, or why it cannot be read."""

import json
import sys

from biip import EncodeError, ParseError
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_messages import GS1Message


def told(element):
    number_wrong = element.gtin_error or element.gln_error or element.sscc_error
    return {
        "number": element.ai.ai,
        "value": element.value,
        "date": element.date and element.date.isoformat(),
        "decimal": None if element.decimal is None else str(element.decimal),
        "wrong": number_wrong and str(number_wrong),
    }


def canonical(link):
    """The canonical link; empty where a second key stands behind the question mark, which biip reads but never writes."""
    try:
        return link.as_canonical_uri()
    except EncodeError:
        return ""


def read(text):
    try:
        if text.startswith("http"):
            link = GS1DigitalLinkURI.parse(text)
            return {"elements": [told(one) for one in link.element_strings], "link": canonical(link)}
        return {"elements": [told(one) for one in GS1Message.parse(text).element_strings]}
    except ParseError as error:
        return {"refused": str(error)}


json.dump([read(text) for text in json.load(sys.stdin)], sys.stdout)
