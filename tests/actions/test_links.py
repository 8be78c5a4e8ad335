"""Links: who stands behind a token, renewing one so that the old one dies, and sending a lost one again."""

from __future__ import annotations

import pytest
from sqlalchemy import event, select

from notifications.tables import outbox
from portal.actions import questions
from portal.actions.desk import Desk, NotFound, Stale
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.links import (
    MOST_BY_ADDRESS,
    MOST_BY_NUMBER,
    WINDOW,
    Over,
    Reader,
    Renewed,
    renew_contact,
    renew_docket,
    resolve,
    send_link_again,
)
from portal.rules.numbers import spoken, with_check
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.refusals import Unfit
from portal.rules.throttle import TooOften
from portal.rules.tokens import LinkKind, make_token
from portal.store import journal, tickets, visits
from portal.store import questions as store
from portal.store.tables import throttles
from portal.store.visits import Contact
from tests.conftest import BENCH, SECRET


def token_of(link: str) -> str:
    return link.rsplit("/", 1)[-1]


def owner(desk: Desk, number: str) -> Contact:
    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        return visits.contacts_of(connection, ticket.visit_id)[0]


def contact_token(contact: Contact) -> str:
    return make_token(SECRET, LinkKind.CONTACT, contact.ref, contact.link_version)


def read(desk: Desk, token: str) -> Reader:
    with desk.reading() as connection:
        return resolve(desk, connection, token)


def sent_again(desk: Desk) -> list[str]:
    with desk.reading() as connection:
        query = select(outbox.c.recipient).where(outbox.c.event == "link_again").order_by(outbox.c.id)
        return list(connection.execute(query).scalars())


def test_the_dockets_link_leads_to_the_visit_and_to_no_contact(desk: Desk, taken_in: TakenIn) -> None:
    visit, contact, _question = read(desk, token_of(taken_in.link))

    assert (visit.ref, contact) == (taken_in.visit_ref, None)


def test_a_contacts_own_link_leads_to_the_visit_and_to_them(desk: Desk, taken_in: TakenIn, number: str) -> None:
    ada = owner(desk, number)

    visit, contact, _question = read(desk, contact_token(ada))

    assert (visit.ref, contact) == (taken_in.visit_ref, ada)


def test_the_case_of_a_token_does_not_matter(desk: Desk, taken_in: TakenIn) -> None:
    token = token_of(taken_in.link)

    assert read(desk, token.lower()) == read(desk, token.upper())


@pytest.mark.parametrize("kind", [LinkKind.DOCKET, LinkKind.CONTACT])
def test_following_a_link_takes_one_statement(desk: Desk, taken_in: TakenIn, number: str, kind: LinkKind) -> None:
    token = token_of(taken_in.link) if kind is LinkKind.DOCKET else contact_token(owner(desk, number))
    statements: list[str] = []
    event.listen(desk.engine, "before_cursor_execute", lambda *call: statements.append(call[2]))

    read(desk, token)

    assert len([said for said in statements if said.startswith("SELECT")]) == 1


@pytest.mark.parametrize(
    "forge",
    [
        pytest.param(lambda token: token[:-1] + ("0" if token[-1] != "0" else "1"), id="another last letter"),
        pytest.param(lambda token: "C" + token[1:], id="another kind"),
        pytest.param(lambda token: "Q" + token[1:], id="a question that nobody asked"),
        pytest.param(lambda token: token[0] + "0" * 10 + token[11:], id="another visit"),
        pytest.param(lambda token: token[:-1], id="a letter short"),
        pytest.param(lambda token: token + "0", id="a letter long"),
        pytest.param(lambda token: token[:-1] + "U", id="a letter that no token has"),
        pytest.param(lambda token: token + "\x00", id="NUL"),
        pytest.param(lambda token: "' OR 1=1 --", id="SQL"),
        pytest.param(lambda token: "", id="nothing"),
    ],
)
def test_a_forged_or_misspelt_token_leads_nowhere(desk: Desk, taken_in: TakenIn, forge) -> None:
    with pytest.raises(NotFound, match="leads nowhere"):
        read(desk, forge(token_of(taken_in.link)))


def test_a_token_of_another_installation_leads_nowhere(desk: Desk, taken_in: TakenIn) -> None:
    with pytest.raises(NotFound):
        read(desk, make_token(b"another secret", LinkKind.DOCKET, taken_in.visit_ref, 1))


def test_a_token_of_a_version_that_is_not_yet_leads_nowhere(desk: Desk, taken_in: TakenIn) -> None:
    with pytest.raises(NotFound):
        read(desk, make_token(SECRET, LinkKind.DOCKET, taken_in.visit_ref, 2))


def test_renewing_the_docket_kills_its_old_link_and_makes_a_new_one(desk: Desk, taken_in: TakenIn, number: str) -> None:
    renew_docket(desk, BENCH, number)

    with pytest.raises(Renewed):
        read(desk, token_of(taken_in.link))
    assert read(desk, make_token(SECRET, LinkKind.DOCKET, taken_in.visit_ref, 2)).visit.ref == taken_in.visit_ref


def test_renewing_the_docket_leaves_the_contacts_link_alive(desk: Desk, number: str) -> None:
    ada = owner(desk, number)

    renew_docket(desk, BENCH, number)

    assert read(desk, contact_token(ada)).contact == ada


def test_renewing_a_contacts_link_kills_it_and_sends_the_new_one(desk: Desk, taken_in: TakenIn, number: str) -> None:
    ada = owner(desk, number)

    renew_contact(desk, BENCH, number, ada.ref)

    with pytest.raises(Renewed):
        read(desk, contact_token(ada))
    assert read(desk, contact_token(owner(desk, number))).contact.ref == ada.ref
    assert read(desk, token_of(taken_in.link)).contact is None
    assert sent_again(desk) == [ada.ref]


def test_renewing_stands_in_the_journal_for_the_bench(desk: Desk, number: str) -> None:
    renew_docket(desk, BENCH, number)
    renew_contact(desk, BENCH, number, owner(desk, number).ref)

    with desk.reading() as connection:
        written = journal.entries(connection, tickets.by_number(connection, number).id)[1:]
    told = [(entry.event, entry.data["link"], entry.audience) for entry in written]
    assert told == [("link_renewed", "docket", "bench"), ("link_renewed", "owner", "bench")]


def test_a_renewal_sent_twice_renews_once(desk: Desk, taken_in: TakenIn, number: str) -> None:
    renew_docket(desk, BENCH, number, deed_key="once")
    again = renew_docket(desk, BENCH, number, deed_key="once")

    assert again.repeated
    assert read(desk, make_token(SECRET, LinkKind.DOCKET, taken_in.visit_ref, 2))


def test_a_renewal_on_a_stale_page_renews_nothing(desk: Desk, taken_in: TakenIn, number: str) -> None:
    renew_contact(desk, BENCH, number, owner(desk, number).ref)

    with pytest.raises(Stale):
        renew_docket(desk, BENCH, number, seen=1)
    assert read(desk, token_of(taken_in.link))


def test_a_contact_of_another_visit_cannot_be_renewed_through_this_one(desk: Desk, number: str) -> None:
    other = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Broken")], email="bo@example.org"))
    bo = owner(desk, other.numbers[0])

    with pytest.raises(NotFound, match="no such contact"):
        renew_contact(desk, BENCH, number, bo.ref)
    assert read(desk, contact_token(bo)).contact == bo


@pytest.mark.parametrize(
    "typed", ["ada@example.org", " ADA@Example.ORG ", "07700 900123", "+44 7700 900123", "(07700) 900-123"]
)
def test_a_lost_link_is_sent_again_to_whoever_gives_number_and_address(desk: Desk, number: str, typed: str) -> None:
    send_link_again(desk, spoken(number), typed, "192.0.2.1")

    assert sent_again(desk) == [owner(desk, number).ref]


@pytest.mark.parametrize("typed", ["bo@example.org", "07700 900124"])
def test_a_lost_link_is_not_sent_to_another_address_and_nobody_is_told_so(desk: Desk, number: str, typed: str) -> None:
    assert send_link_again(desk, number, typed, "192.0.2.1") is None
    assert sent_again(desk) == []


def test_a_number_never_given_is_answered_like_one_that_was(desk: Desk, number: str) -> None:
    assert send_link_again(desk, with_check("99999"), "ada@example.org", "192.0.2.1") is None
    assert sent_again(desk) == []


def test_a_contact_without_a_phone_is_not_found_by_an_empty_one(desk: Desk) -> None:
    quiet = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Broken")], email="bo@example.org"))

    with pytest.raises(Unfit) as refused:
        send_link_again(desk, quiet.numbers[0], "  ", "192.0.2.1")
    assert refused.value.field == "contact"


@pytest.mark.parametrize(
    ("number_typed", "typed", "field"),
    [
        ("5727", "ada@example.org", "number"),
        ("'; DROP TABLE tickets; --", "ada@example.org", "number"),
        ("5724", "a@x, b@y", "contact"),
        ("5724", "ada@example.org\r\nBcc: all@example.org", "contact"),
        ("5724", "no phone", "contact"),
        ("5724", "9" * 10_000, "contact"),
    ],
)
def test_what_cannot_be_a_number_or_an_address_is_named(desk: Desk, number_typed: str, typed: str, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        send_link_again(desk, number_typed, typed, "192.0.2.1")

    assert refused.value.field == field


def test_one_repairs_link_cannot_be_asked_for_without_end(desk: Desk, number: str) -> None:
    for place in range(MOST_BY_NUMBER):
        send_link_again(desk, number, "wrong@example.org", f"192.0.2.{place}")

    with pytest.raises(TooOften) as refused:
        send_link_again(desk, number, "ada@example.org", "192.0.2.99")
    assert refused.value.retry_at == desk.clock.now() + WINDOW
    assert sent_again(desk) == []


def test_one_address_cannot_ask_for_every_number(desk: Desk, number: str) -> None:
    for body in range(1000, 1000 + MOST_BY_ADDRESS):
        send_link_again(desk, with_check(str(body)), "ada@example.org", "192.0.2.1")

    with pytest.raises(TooOften):
        send_link_again(desk, number, "ada@example.org", "192.0.2.1")
    send_link_again(desk, number, "ada@example.org", "192.0.2.2")
    assert len(sent_again(desk)) == 1


def test_the_address_that_asked_is_stored_as_a_keyed_hash_only(desk: Desk, number: str) -> None:
    send_link_again(desk, number, "ada@example.org", "192.0.2.1")

    with desk.reading() as connection:
        keys = connection.execute(select(throttles.c.key)).scalars().all()
    assert len(keys) == 2
    assert all(len(key) == 64 and int(key, 16) for key in keys)


def test_a_questions_link_leads_to_one_contact_and_one_question_and_dies_with_the_contacts_own(
    desk: Desk, number: str
) -> None:
    offer = TypedOffer(options=[TypedOption("New port", [TypedLine("Port", "1", "48.50")])])
    first, second = (questions.draft(desk, BENCH, number, offer, put_at_once=True).ref for _each in range(2))
    ada = owner(desk, number)
    with desk.reading() as connection:
        links = {ref: store.is_asked(connection, ref, ada.ref) for ref in (first, second)}
    token = make_token(SECRET, LinkKind.QUESTION, links[first] or "", ada.link_version)

    assert (read(desk, token).contact, read(desk, token).question) == (ada, first)
    assert links[first] != links[second]
    for forged in (
        make_token(b"another secret", LinkKind.QUESTION, links[first] or "", 1),
        make_token(SECRET, LinkKind.QUESTION, first, 1),  # the question's public id is no link
        make_token(SECRET, LinkKind.CONTACT, links[first] or "", 1),
    ):
        with pytest.raises((NotFound, Over)):
            read(desk, forged)

    renew_contact(desk, BENCH, number, ada.ref)
    with pytest.raises(Renewed):
        read(desk, token)
