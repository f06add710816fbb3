"""A till's day and a label printer's day, against a running Tubtrail.

See README.md for how to generate tubtrail_client.
"""

import os
from uuid import uuid4

from tubtrail_client import AuthenticatedClient
from tubtrail_client.api.allergens import check_allergens, show_lot_contents
from tubtrail_client.api.labels import draw_label_png, get_print, list_lot_prints, print_label, show_label
from tubtrail_client.api.lots import get_lot, list_lots
from tubtrail_client.api.scans import scan
from tubtrail_client.api.sessions import show_me
from tubtrail_client.api.tubs import empty_tub, open_tub, serve_tub
from tubtrail_client.models import (
    Emptying,
    Lot,
    LotKind,
    Me,
    NewAllergenCheck,
    NewPrint,
    NewScan,
    Opening,
    ProblemDetails,
    Serving,
)


class Refused(Exception):
    """What the house refuses, it explains in a sentence for whoever stands at the counter."""

    def __init__(self, problem: ProblemDetails) -> None:
        super().__init__(problem.detail)
        self.problem = problem


def sign_in(token: str) -> AuthenticatedClient:
    """A device signs in with the token that was shown when it was created; it has no session."""
    return AuthenticatedClient(base_url=os.environ["HOUSE"], token=token, raise_on_unexpected_status=True)


def done(answer):
    if answer is None:
        raise ValueError("the answer is empty")
    if isinstance(answer, ProblemDetails):
        raise Refused(answer)
    return answer


def key() -> str:
    """Every command has a key of its own: sent again under the same key, it is done once."""
    return str(uuid4())


def tubs_at(house: AuthenticatedClient, site: str) -> list[Lot]:
    return done(list_lots.sync(client=house, kind=LotKind.TUB, site=site, limit=500)).items


def is_at(lot: Lot, site: str, place: str) -> bool:
    return any(at.site == site and at.state == place and at.grams > 0 for at in lot.places)


def open_one(house: AuthenticatedClient, site: str) -> Lot:
    for tub in tubs_at(house, site):
        if not is_at(tub, site, "available"):
            continue
        answer = open_tub.sync_detailed(tub.lot, client=house, body=Opening(site=site), idempotency_key=key())
        if answer.status_code == 409:
            print(f"refused: {answer.parsed.detail}")
            continue
        print(f"opened {tub.lot} ({tub.name}): {done(answer.parsed).open_grams} g")
        return tub
    raise ValueError("no tub can be opened")


def till(house: AuthenticatedClient, site: str) -> None:
    me: Me = done(show_me.sync(client=house))
    print(f"till: {me.actor} at {', '.join(str(role.site) for role in me.roles)}")

    tub = open_one(house, site)
    body = Serving(site=site, portions=2)
    served = done(serve_tub.sync(tub.lot, client=house, body=body, idempotency_key=key()))
    print(f"served {served.grams} g, {served.open_grams} g left")

    scanned = done(scan.sync(client=house, body=NewScan(site=site, text=tub.lot)))
    if scanned.kind != "lot":
        raise ValueError(f"the tub's own label says {scanned.kind}")
    print(f"scanned: {scanned.lot.name}")

    asked = NewAllergenCheck(site=site, avoid=["hazelnut", "milk"], lots=[tub.lot])
    check = done(check_allergens.sync(client=house, body=asked))
    for allergen in check.tubs[0].allergens:
        print(f"{allergen.name}: {allergen.answer}")
    print(f"caution: {check.caution}")

    emptied = done(empty_tub.sync(tub.lot, client=house, body=Emptying(site=site), idempotency_key=key()))
    print(f"emptied: the last {emptied.grams} g were served too")


def dots_across(picture: bytes) -> int:
    """They stand in the picture's head (PNG, second edition, 11.2.2)."""
    return int.from_bytes(picture[16:20])


def label(house: AuthenticatedClient, lot: str) -> None:
    """What stands on the tub, as words and as a picture; then it is printed, unless it was before."""
    words = show_label.sync_detailed(lot, client=house)
    if words.status_code == 409:
        print(f"  no label: {words.parsed.detail}")
        return
    print(f"  says: {''.join(piece.text for piece in done(words.parsed).ingredients)}")
    picture = draw_label_png.sync_detailed(lot, client=house)
    done(picture.parsed)
    print(f"  picture: {dots_across(picture.content)} dots across")

    if done(list_lot_prints.sync(lot, client=house)).items:
        return
    body = NewPrint(printer=os.environ["PRINTER"], copies=1)
    asked = done(print_label.sync(lot, client=house, body=body, idempotency_key=key()))
    shown = done(get_print.sync(asked.print_, client=house))
    print(f"  print {shown.number} on {shown.printer}: {shown.state}")


def label_printer(house: AuthenticatedClient, site: str) -> None:
    for made in tubs_at(house, site)[-10:]:
        tub = done(get_lot.sync(made.lot, client=house))
        contents = done(show_lot_contents.sync(made.lot, client=house))
        print(f"label {tub.lot}: {tub.name}, {tub.grams} g, made {tub.came_to_be_at.isoformat()}")
        print(f"  as of entry {contents.journal_position}: {contents.caution}")
        if is_at(tub, site, "available"):
            label(house, tub.lot)


till(sign_in(os.environ["TILL_TOKEN"]), os.environ["TILL_SITE"])
label_printer(sign_in(os.environ["PRINTER_TOKEN"]), os.environ["PRINTER_SITE"])
