"""Terms are shown on the customer's page and accepted there by a press of the button, never by silence."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.terms import accept_terms
from portal.rules.tokens import LinkKind
from portal.store import acceptances, policies, visits
from portal.store.acceptances import Acceptance
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden
from tests.web.conftest import on_both
from tests.web.test_customer_docket import path_of


def kept(desk: Desk, ref: str) -> Sequence[Acceptance]:
    with desk.reading() as connection:
        visit = visits.by_ref(connection, ref)
        assert visit is not None
        return acceptances.of_visit(connection, visit.id)


def new_policy(desk: Desk, change: tuple[str, str]) -> None:
    with desk.writing() as connection:
        text = policies.document(connection, policies.newest(connection)) or ""
        assert change[0] in text
        policies.add(connection, text.replace(*change), desk.clock.now(), None)


def test_the_page_asks_for_the_terms_until_they_are_accepted(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    path = path_of(taken_in.link)
    assert "I accept these terms" in client.get(path).text
    assert "No work without your yes" in client.get(path).text

    accept_terms(desk, BENCH, taken_in.visit_ref, hidden(client.get(path).text, "version"), "tick")

    page = client.get(path).text
    assert "I accept these terms" not in page
    assert "Accepted on" in page
    assert "No work without your yes" in page  # to be read again


@on_both
def test_a_press_of_the_button_accepts_the_version_that_was_shown(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    path = path_of(taken_in.link)
    version = hidden(client.get(path).text, "version")

    answer = client.post(f"{path}/terms?lang=de", data={"version": version})

    assert (answer.status_code, answer.headers["Location"]) == (303, f"{path}?lang=de")
    (accepted,) = kept(desk, taken_in.visit_ref)
    assert (accepted.terms_version, accepted.how, accepted.by_kind, accepted.language) == (
        version,
        "page",
        "customer",
        "de",
    )


def test_the_button_pressed_twice_accepts_once(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    path = path_of(taken_in.link)
    version = hidden(client.get(path).text, "version")

    answers = [client.post(f"{path}/terms", data={"version": version}).status_code for _press in range(2)]

    assert answers == [303, 303]
    assert len(kept(desk, taken_in.visit_ref)) == 1


@pytest.mark.parametrize("version", ["", "another", "x" * 5000, "\x00"])
def test_a_version_that_is_not_in_force_is_not_accepted(
    client: Browser, desk: Desk, taken_in: TakenIn, version: str
) -> None:
    answer = client.post(f"{path_of(taken_in.link)}/terms", data={"version": version})

    assert answer.status_code == 422
    assert "Please read them again before you accept." in answer.text
    assert "I accept these terms" in answer.text
    assert kept(desk, taken_in.visit_ref) == []


def test_opening_the_page_or_its_form_accepts_nothing(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    path = path_of(taken_in.link)
    for method in ("GET", "HEAD"):
        client.open(path, method=method)
        assert client.open(f"{path}/terms", method=method).status_code == 405

    assert kept(desk, taken_in.visit_ref) == []


def test_another_site_cannot_accept_for_the_customer(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    path = path_of(taken_in.link)
    version = hidden(client.get(path).text, "version")

    answer = client.post(f"{path}/terms", data={"version": version}, headers={"Origin": "https://elsewhere.example"})

    assert answer.status_code == 403
    assert kept(desk, taken_in.visit_ref) == []


@pytest.mark.parametrize("may_agree", [True, False])
def test_a_second_person_accepts_only_if_they_may_agree(client: Browser, desk: Desk, may_agree: bool) -> None:
    second = Second(name="Bo", email="bo@example.org", may_agree=may_agree)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], name="Ada", second=second))
    with desk.reading() as connection:
        visit = visits.by_ref(connection, taken.visit_ref)
        assert visit is not None
        person = visits.contacts_of(connection, visit.id)[1]
    path = path_of(desk.links.customer(LinkKind.CONTACT, person.ref, person.link_version))
    version = hidden(client.get(path_of(taken.link)).text, "version")

    assert ("I accept these terms" in client.get(path).text) is may_agree
    assert client.post(f"{path}/terms", data={"version": version}).status_code == (303 if may_agree else 403)
    assert len(kept(desk, taken.visit_ref)) == may_agree


@pytest.mark.parametrize("token", ["forged", "D" + "0" * 36])
def test_nobody_accepts_by_a_forged_link(client: Browser, taken_in: TakenIn, token: str) -> None:
    assert client.post(f"/t/{token}/terms", data={"version": "1"}).status_code == 404


def test_the_docket_has_a_line_to_sign_until_the_terms_are_accepted(
    staff_client: Browser, client: Browser, taken_in: TakenIn, number: str
) -> None:
    assert "Date and signature" in staff_client.get(f"/bench/{number}/docket").text
    path = path_of(taken_in.link)
    client.post(f"{path}/terms", data={"version": hidden(client.get(path).text, "version")})

    page = staff_client.get(f"/bench/{number}/docket").text

    assert "Date and signature" not in page
    assert "Accepted on" in page


def test_other_words_in_another_version_are_asked_for_again(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    path = path_of(taken_in.link)
    version = hidden(client.get(path).text, "version")
    client.post(f"{path}/terms", data={"version": version})

    new_policy(desk, (f'version = "{version}"', 'version = "another"'))

    assert "I accept these terms" in client.get(path).text
