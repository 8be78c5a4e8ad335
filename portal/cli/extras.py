"""Questions about money and their proof: `extra ask`, `extra list`, `extra cancelled`, `proof verify`."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

from portal.actions import cancelled
from portal.actions import questions as deeds
from portal.actions.cancelled import Typed
from portal.actions.desk import COMMAND, find
from portal.cli.common import Commands, command, opened, show_json
from portal.cli.doors import takes_words
from portal.language import language
from portal.rules.cancelled import START, How
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.proof import first_broken
from portal.store import questions


def add_to(commands: Commands) -> None:
    """Add `extra …` and `proof …`."""
    group = commands.add_parser("extra", help="ask before it costs", description="Questions about money.")
    deeds_ = group.add_subparsers(title="deeds", metavar="DEED", required=True)
    ask = command(
        deeds_,
        "ask",
        _ask,
        "ask the customer whether to do something that costs",
        'extra ask 4711-8 --what "Replace the charging port" --line "Port;1;18.50" --line "Work;1;30"',
    )
    ask.add_argument("number")
    ask.add_argument("--what", required=True, help="what is proposed, as the customer reads it")
    ask.add_argument(
        "--line", action="append", default=[], type=_line, metavar="TEXT;QUANTITY;UNIT PRICE", help="one line of it"
    )
    ask.add_argument("--tax", default="", help="the tax rate of its lines, where it is not the shop's own")
    ask.add_argument("--found", default="", help="what was found")
    ask.add_argument("--estimate", action="store_true", help="it is the price for the repair, not an extra")
    ask.add_argument("--json", action="store_true", help="as a JSON object")
    takes_words(ask, "what", "found", "line")
    listing = command(deeds_, "list", _list, "list a repair's questions", "extra list 4711-8 --json")
    listing.add_argument("number")
    listing.add_argument("--json", action="store_true", help="as a JSON list of objects")
    gone = command(
        deeds_,
        "cancelled",
        _cancelled,
        "show what follows from a cancellation that came in, and enter it with --enter",
        'extra cancelled 4711-8 --thing A1B2C3D4E5=40 --how letter --words "Ada Marsh; in the folder"',
    )
    gone.add_argument("number")
    gone.add_argument(
        "--thing",
        action="append",
        default=[],
        metavar="QUESTION[=PERCENT]",
        help=f"what they cancel, and how much of it was done by then; “{START}” for what was agreed at the start",
    )
    gone.add_argument("--how", required=True, choices=[how.value for how in How])
    gone.add_argument("--words", required=True, help="who said it to whom, and where the letter or e-mail lies")
    gone.add_argument("--sent", default="", help="the day on which it was said or sent; today without it")
    gone.add_argument("--heard", default="", help="the day on which it reached the shop; today without it")
    gone.add_argument("--enter", action="store_true", help="enter it; without this only what follows is shown")
    takes_words(gone, "words")

    group = commands.add_parser("proof", help="what was agreed, proven", description="Proofs of answers.")
    deeds_ = group.add_subparsers(title="deeds", metavar="DEED", required=True)
    verify = command(deeds_, "verify", _verify, "check the chains of proofs", "proof verify 4711-8")
    verify.add_argument("number", nargs="?", help="only this repair's")


def _ask(options: argparse.Namespace) -> int:
    house = opened(options)
    lines = [replace(line, tax=options.tax) for line in options.line]
    offer = TypedOffer(found=options.found, options=[TypedOption(options.what, lines)])
    kind = "estimate" if options.estimate else "extra"
    asked = deeds.draft(house.desk, COMMAND, options.number, offer, kind=kind, put_at_once=True)
    with house.desk.reading() as connection:
        kept = questions.by_ref(connection, asked.ref)
    state = kept.question.state.value if kept else ""
    if options.json:
        show_json({"question": asked.ref, "state": state})
    else:
        print(f"{asked.ref}: {state}")
    return 0


def _list(options: argparse.Namespace) -> int:
    house = opened(options)
    with house.desk.reading() as connection:
        policy = house.desk.policy(connection)
        found = questions.of_ticket(connection, find(connection, options.number).id)
    told = [
        {
            "question": kept.ref,
            "kind": kept.kind,
            "state": kept.question.state.value,
            "version": kept.question.version,
            "through": kept.through,
            "begun": kept.started_at,
            "options": [
                {"key": option.key, "what": option.proposal, "total_minor": kept.offer.total(option).amounts.gross}
                for option in kept.offer.options
            ],
            "chosen": kept.question.chosen,
            "currency": kept.offer.terms.currency,
            "answer_by": kept.question.answer_by,
        }
        for kept in found
    ]
    if options.json:
        show_json(told)
    else:
        words = language("en", policy.shop.zone)
        for kept in found:
            price = words.money(kept.offer.dearest(), kept.offer.terms.currency)
            print(f"{kept.ref}  {kept.kind}  {price}  {kept.question.state.value}")
    return 0


def _cancelled(options: argparse.Namespace) -> int:
    desk = opened(options).desk
    things = [thing.partition("=") for thing in options.thing]
    refs, parts = [ref for ref, _equals, _part in things], {ref: part for ref, _equals, part in things}
    typed = Typed(options.sent, options.heard, options.how, options.words, refs, parts)
    with desk.reading() as connection:
        foreseen = cancelled.foresee(desk, connection, find(connection, options.number), desk.policy(connection), typed)
    for each in foreseen.consequences:
        print(each)
    if options.enter:
        done = cancelled.cancel(desk, COMMAND, options.number, typed, confirmed=foreseen.mark)
        print(f"{spoken(done.number)} is entered as cancelled (revision {done.revision})")
    return 0


def _verify(options: argparse.Namespace) -> int:
    house = opened(options)
    with house.desk.reading() as connection:
        numbers = [find(connection, options.number).number] if options.number else questions.proven_numbers(connection)
        chains = {number: questions.chain(connection, find(connection, number).id) for number in numbers}
    broken = {number: place for number, chain in chains.items() if (place := first_broken(chain)) is not None}
    for number, place in broken.items():
        print(f"benchwindow: {spoken(number)}: proof {place + 1} does not hold", file=sys.stderr)
    print(f"{sum(len(chain) for chain in chains.values())} proofs of {len(chains)} repairs, {len(broken)} broken")
    return 1 if broken else 0


def _line(text: str) -> TypedLine:
    parts = text.split(";")
    if len(parts) != 3:
        raise argparse.ArgumentTypeError("write it as TEXT;QUANTITY;UNIT PRICE")
    return TypedLine(*parts)
