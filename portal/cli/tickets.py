"""Tickets by command: the same deeds as at the bench."""

from __future__ import annotations

import argparse
from pathlib import Path

from portal.actions import balance, handover, moves, notes, payments, photos
from portal.actions.desk import COMMAND, Outcome, find
from portal.actions.handover import Handed
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.payments import Typed
from portal.cli.common import Commands, command, instant, opened, show_json
from portal.cli.doors import takes_words
from portal.main import Installation
from portal.rules.account import Account
from portal.rules.journal_words import for_bench
from portal.rules.money import Price
from portal.rules.numbers import spoken
from portal.rules.outcomes import journal_text
from portal.rules.payments import How
from portal.rules.stages import HOLD_WORDS, Hold
from portal.rules.tokens import LinkKind
from portal.store import journal, tickets, visits
from portal.store.tickets import OpenTicket


def add_to(commands: Commands) -> None:
    """Add `tickets` and `ticket …`."""
    listing = command(commands, "tickets", _tickets, "list the open tickets", "tickets --json")
    listing.add_argument("--json", action="store_true", help="as a JSON list of objects")

    group = commands.add_parser("ticket", help="do something with one ticket", description="Deeds on one ticket.")
    deeds = group.add_subparsers(title="deeds", metavar="DEED", required=True)
    add = command(
        deeds,
        "add",
        _add,
        "take a device in",
        'ticket add --device "Handheld console" --fault "does not charge" --email ada@example.org',
    )
    add.add_argument("--device", required=True, help="what it is")
    add.add_argument("--fault", required=True, help="what is wrong, in the customer's words")
    add.add_argument("--kind", default="", help="a key of the policy's kinds of device")
    add.add_argument("--name", default="", help="how to address the owner")
    add.add_argument("--email", default="", help="where to tell them")
    add.add_argument("--phone", default="", help="where to ring them")
    add.add_argument("--language", default="", help="the language they read")
    add.add_argument("--json", action="store_true", help="as a JSON object with number and link")
    takes_words(add, "device", "fault", "name")

    move = command(deeds, "move", _move, "move a ticket to a stage", 'ticket move 4711-8 testing --why "fan is loud"')
    move.add_argument("number")
    move.add_argument("stage", help="the stage's key")
    move.add_argument("--why", default="", help="the reason; needed for going back")
    move.add_argument("--confirm", action="store_true", help="go on although gates warn")
    takes_words(move, "why")

    note = command(deeds, "note", _note, "write a note", 'ticket note 4711-8 "Cracked joint found" --for customer')
    note.add_argument("number")
    note.add_argument("text")
    note.add_argument("--for", dest="audience", choices=("bench", "customer"), default="bench", help="who reads it")
    takes_words(note, "text", also="--confirm")

    hold = command(deeds, "hold", _hold, "make a ticket wait, or go on", "ticket hold 4711-8 part")
    hold.add_argument("number")
    hold.add_argument("kind", choices=[*(kind.value for kind in Hold), "none"])
    hold.add_argument("--why", default="", help="a word on why; stays with the bench")
    takes_words(hold, "why")

    over = command(deeds, "handover", _handover, "hand a device over", "ticket handover 4711-8 --code 4F7-K2M")
    over.add_argument("number")
    over.add_argument("--code", default="", help="the customer's collection code")
    over.add_argument("--why", default="", help="why there is no code; with --unrepaired, why it goes back as it came")
    over.add_argument("--unpaid", default="", help="why it goes although something is still to be paid")
    over.add_argument("--unrepaired", action="store_true", help="given back as it came, from any stage")
    takes_words(over, "why", "unpaid")

    pay = command(deeds, "pay", _pay, "take money", "ticket pay 4711-8 48.50 --how cash")
    pay.add_argument("number")
    pay.add_argument("amount", help="in the shop's currency")
    pay.add_argument("--how", required=True, choices=[how.value for how in How])
    pay.add_argument("--reference", default="", help="what finds it again; never the number of a card")
    pay.add_argument("--on", default="", help="the day on which it came, like 2026-12-08; today without it")
    pay.add_argument("--back", action="store_true", help="given back, of what is owed back")
    pay.add_argument("--confirm", action="store_true", help="take it although it is more than is open")

    photo = command(deeds, "photo", _photo, "take a photo in, cleaned", "ticket photo 4711-8 front.jpg --before")
    photo.add_argument("number")
    photo.add_argument("file", type=Path)
    moment = photo.add_mutually_exclusive_group()
    for each in ("before", "after"):
        moment.add_argument(
            f"--{each}", dest="moment", action="store_const", const=each, help=f"taken {each} the repair"
        )
    photo.add_argument("--for", dest="audience", choices=("bench", "customer"), default="customer", help="who sees it")
    photo.add_argument("--confirm", action="store_true", help="use it although it seems blurred or dark")

    show = command(deeds, "show", _show, "show a ticket with its journal", "ticket show 4711-8 --json")
    show.add_argument("number")
    show.add_argument("--json", action="store_true", help="as a JSON object")


def _tickets(options: argparse.Namespace) -> int:
    house = opened(options)
    with house.desk.reading() as connection:
        found = tickets.open_tickets(connection)
    if options.json:
        show_json([_summary(house, line) for line in found])
        return 0
    for line in found:
        hold = f" (on hold: {HOLD_WORDS[line.ticket.hold]})" if line.ticket.hold else ""
        print(f"{spoken(line.ticket.number):>8}  {line.ticket.stage or 'announced':<12} {line.ticket.device}{hold}")
    return 0


def _summary(house: Installation, line: OpenTicket) -> dict[str, object]:
    ticket = line.ticket
    return {
        "number": spoken(ticket.number),
        "stage": ticket.stage or "announced",
        "hold": ticket.hold,
        "since": instant(ticket.stage_since),
        "revision": ticket.revision,
        "link": house.desk.links.customer(LinkKind.DOCKET, line.visit_ref, line.docket_version),
    }


def _add(options: argparse.Namespace) -> int:
    device = NewDevice(options.device, options.fault, options.kind)
    arrival = NewVisit([device], name=options.name, email=options.email, phone=options.phone, language=options.language)
    taken = take_in(opened(options).desk, COMMAND, arrival)
    number = spoken(taken.numbers[0])
    if options.json:
        show_json({"number": number, "link": taken.link})
    else:
        print(f"{number} taken in. Its owner follows it at {taken.link}")
    return 0


def _move(options: argparse.Namespace) -> int:
    desk = opened(options).desk
    done = moves.move(desk, COMMAND, options.number, options.stage, why=options.why, confirmed=options.confirm)
    return _done(done, f"moved to {options.stage}")


def _note(options: argparse.Namespace) -> int:
    done = notes.note(
        opened(options).desk,
        COMMAND,
        options.number,
        options.text,
        audience=options.audience,
        confirmed=options.yes_keep,
    )
    return _done(done, "noted")


def _hold(options: argparse.Namespace) -> int:
    done = moves.hold(opened(options).desk, COMMAND, options.number, options.kind, why=options.why)
    return _done(done, "going on" if options.kind == "none" else f"on hold: {options.kind}")


def _handover(options: argparse.Namespace) -> int:
    desk = opened(options).desk
    if options.unrepaired:
        confirmed = bool(options.unpaid)
        done = handover.return_unrepaired(desk, COMMAND, options.number, options.why, confirmed=confirmed)
        return _done(done, "given back unrepaired")
    handed = Handed(code=options.code, why=options.why, unsettled=options.unpaid)
    return _done(handover.hand_over(desk, COMMAND, options.number, handed), "handed over")


def _pay(options: argparse.Namespace) -> int:
    desk = opened(options).desk
    typed = Typed(options.amount, options.how, options.reference, options.on)
    if options.back:
        return _done(payments.give_back(desk, COMMAND, options.number, typed), "money given back")
    done = payments.take(desk, COMMAND, options.number, typed, confirmed=options.confirm)
    return _done(done, "money taken")


def _photo(options: argparse.Namespace) -> int:
    house = opened(options)
    done = photos.add(
        house.desk,
        house.photo_files,
        COMMAND,
        options.number,
        options.file.read_bytes(),
        moment=options.moment or "other",
        audience=options.audience,
        confirmed=options.confirm,
    )
    return _done(done, "has one more photo")


def _show(options: argparse.Namespace) -> int:
    house = opened(options)
    with house.desk.reading() as connection:
        ticket = find(connection, options.number)
        visit = visits.by_id(connection, ticket.visit_id)
        entries = journal.entries(connection, ticket.id)
        policy = house.desk.policy(connection)
        account = balance.of(connection, ticket, policy)
    summary = _summary(house, OpenTicket(ticket, visit.ref, visit.docket_version, ""))
    if options.json:
        told = [
            {"entry": each.entry, "at": instant(each.at), "event": each.event, "data": each.data, "text": each.text}
            | {"audience": each.audience, "by": each.by or each.by_kind}
            for each in entries
        ]
        more = {"device": ticket.device, "fault": ticket.fault, "ending": ticket.ending, "money": _money(account)}
        show_json(summary | more | {"journal": told})
        return 0
    print(f"{summary['number']}  {ticket.device}\n{summary['stage']} since {summary['since']}\n{summary['link']}")
    if not account.is_empty:
        charged, paid, left = (Price(minor, account.currency) for minor in _amounts(account))
        print(f"charged {charged}, paid {paid}, " + (f"owed back {left}" if account.credit_minor else f"open {left}"))
    for each in entries:
        text = f": {journal_text(each.event, each.text)}" if each.text else ""
        print(f"{each.entry:>4}  {instant(each.at)}  {for_bench(each.event, each.data, policy, ticket.kind)}{text}")
    return 0


def _amounts(account: Account) -> tuple[int, int, int]:
    return account.amounts.gross, account.paid_minor, account.open_minor or account.credit_minor


def _money(account: Account) -> dict[str, object]:
    return {
        "currency": account.currency,
        "charged_minor": account.amounts.gross,
        "paid_minor": account.paid_minor,
        "open_minor": account.open_minor,
        "owed_back_minor": account.credit_minor,
    }


def _done(outcome: Outcome, what: str) -> int:
    print(f"{spoken(outcome.number)} {what} (revision {outcome.revision})")
    return 0
