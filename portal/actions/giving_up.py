"""A device is given up, or what carries data in it destroyed: by its owner's express wish in writing, never silence."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from sqlalchemy import Connection

from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket
from portal.actions.handover import gone
from portal.actions.ownership import must_be_unclaimed
from portal.actions.people import is_keeper
from portal.language import language
from portal.rules import giving_up, stages
from portal.rules.giving_up import DATA_WORDS, GIVES_UP, KEEPS, Data, How, Wish
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event, Hold
from portal.rules.text import line, passage
from portal.store import wishes
from portal.store.tickets import Ticket


def wish_on_page(
    desk: Desk, number: str, gives_up: bool, data: str, word: str, tag: str, *, deed_key: str | None = None
) -> Outcome:
    """The owner says on their own page, in the language `tag`, what they wish, by typing a word.

    Raises Unfit (fields "gives_up", "data", "word"), Refused for a device that is not here or is in dispute.
    """
    wish = giving_up.fit_wish(gives_up, data)
    typed = giving_up.typed_fits(wish, word, tag)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        shown = shown_words(wish, tag, policy)
        return _given(connection, ticket, wish, {"how": How.PAGE, "shown": shown, "typed": typed, "language": tag})

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


def wish_on_paper(
    desk: Desk,
    by: By,
    number: str,
    gives_up: bool,
    data: str,
    how: str,
    where: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Staff write down what the owner wrote: `how` it came and `where` it lies, so that it can be shown.

    Raises Unfit (fields "gives_up", "data", "how", "where") and Refused as `wish_on_page` does.
    """
    wish = giving_up.fit_wish(gives_up, data)
    if how not in (How.LETTER, How.MAIL, How.SIGNED):
        raise Unfit(
            "how", say("A wish comes by letter, by e-mail, or is signed here. What is only said does not count.")
        )
    lies = passage("where", say("What it says, and where it lies"), where, limit=1000, required=True)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        values: dict[str, object] = {
            "how": how,
            "shown": lies,
            "language": policy.shop.languages[0],
            "by_staff": by.staff_id,
        }
        return _given(connection, ticket, wish, values)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def take_back(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """The owner takes the wish back, while the device is here. Raises Refused where none stands."""

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        stages.must_be_here(ticket.standing)
        if wishes.standing(connection, ticket.id) is None:
            raise Refused(say("There is no wish that could be taken back."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            wishes.take_back(connection, ticket.id, now)

        return Change([Event("wish_taken_back")], write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def destroy_data(
    desk: Desk, by: By, number: str, how: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The keeper writes down that what carries data was destroyed, and how. Raises Refused without a wish for it."""
    words = passage("destroyed", say("How it was destroyed, and by whom"), how, limit=1000, required=True)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        stages.must_be_here(ticket.standing)
        must_be_unclaimed(ticket)
        _must_be_keeper(connection, by)
        kept = wishes.standing(connection, ticket.id)
        if kept is None or kept.wish.data is not Data.DESTROY:
            raise Refused(say("Its owner has not wished in writing that its data is destroyed. Nothing is destroyed."))
        return Change([Event("data_destroyed")], text=words)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def give_up(
    desk: Desk,
    by: By,
    number: str,
    data_done: str = "",
    recycler: str = "",
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """The keeper ends the ticket of a device that its owner has given up in writing.

    `data_done` says how what carries data was destroyed or given back, `recycler` who takes the waste. Raises Unfit
    (field "data_done"), Refused without the wish, for a device in dispute, or for anybody but the keeper.
    """
    done = passage("data_done", say("What became of what carries data"), data_done, limit=1000)
    taken_by = line("recycler", say("Who takes the waste"), recycler)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_be_unclaimed(ticket)
        _must_be_keeper(connection, by)
        kept = wishes.standing(connection, ticket.id)
        giving_up.may_give_up(kept.wish if kept else None)
        if kept and kept.wish.data is not Data.NONE_INSIDE and not done:
            raise Unfit("data_done", say("Say what became of what carries data, as its owner wished."))
        return Change(stages.give_up(ticket.standing), text="\n".join(filter(None, (done, taken_by))))

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(gone, desk))


def shown_words(wish: Wish, tag: str, policy: Policy) -> str:
    """The wish in full, in a language: what its owner reads and agrees to."""
    words = language(tag, policy.shop.zone)
    return " ".join(words.say(each) for each in (GIVES_UP if wish.gives_up else KEEPS, DATA_WORDS[wish.data]))


def _given(connection: Connection, ticket: Ticket, wish: Wish, values: dict[str, object]) -> Change:
    stages.must_be_here(ticket.standing)
    if ticket.hold is Hold.DISPUTE or ticket.claimed_at is not None:
        raise Refused(say("A question about this device is settled first. Your device is safe here."))
    if wishes.standing(connection, ticket.id):
        raise Refused(say("A wish stands already. To change it, take that back first."))

    def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
        what = {"ticket_id": ticket.id, "gives_up": wish.gives_up, "data": wish.data, "given_at": now}
        wishes.add(connection, values | what)

    return Change([Event("wish_given", {"wish": wish.name})], write=write)


def _must_be_keeper(connection: Connection, by: By) -> None:
    if not is_keeper(connection, by):
        raise Refused(say("Only the keeper ends this: what is destroyed or given up cannot be brought back."))
