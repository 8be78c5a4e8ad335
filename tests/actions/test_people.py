"""The staff: who may add and disable whom, and what ends a login on every device."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pyotp
import pytest

from portal.actions import logins, people
from portal.actions.desk import COMMAND, CUSTOMER, By, Desk, NotFound
from portal.actions.logins import WrongLogin
from portal.rules.refusals import Refused, Unfit
from portal.rules.throttle import TooOften
from portal.store import people as store
from portal.store.people import Login, Person

PASSWORD = "violet anvil fjord marmalade"
ANOTHER = "copper kettle under the viaduct"
FACTOR = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"


@pytest.fixture
def kim(desk: Desk) -> By:
    """The keeper, with PASSWORD."""
    return By("staff", people.add_staff(desk, COMMAND, "Kim", PASSWORD, "keeper"))


@pytest.fixture
def robin(desk: Desk, kim: By) -> By:
    """A bench hand, with PASSWORD."""
    return By("staff", people.add_staff(desk, kim, "Robin", PASSWORD, "bench"))


def person(desk: Desk, by: By) -> Person:
    with desk.reading() as connection:
        found = store.by_id(connection, by.staff_id)
    assert found is not None
    return found


def sign_in(desk: Desk, name: str, password: str = PASSWORD, code: str = "", address: str = "192.0.2.1") -> str:
    return logins.sign_in(desk, name, password, code, address)


def login_at(desk: Desk, device_key: str) -> Login | None:
    with desk.reading() as connection:
        return logins.at(connection, device_key, desk.clock.now())


def test_whoever_is_added_may_log_in(desk: Desk, robin: By) -> None:
    login = login_at(desk, sign_in(desk, "Robin"))

    assert login is not None
    assert (login.person.id, login.person.role, login.locked) == (robin.staff_id, "bench", False)


@pytest.mark.parametrize("typed", ["robin", "ROBIN", "  Robin  "])
def test_the_name_may_be_typed_in_any_case(desk: Desk, robin: By, typed: str) -> None:
    assert login_at(desk, sign_in(desk, typed))


def test_letters_beyond_ascii_have_a_case_too(desk: Desk) -> None:
    people.add_staff(desk, COMMAND, "Ödön", PASSWORD, "bench")

    assert login_at(desk, sign_in(desk, "ödön"))


@pytest.mark.parametrize("name", ["Robin", "robin"])
def test_a_name_is_given_once(desk: Desk, robin: By, name: str) -> None:
    with pytest.raises(Unfit, match="already"):
        people.add_staff(desk, COMMAND, name, ANOTHER, "bench")


def test_no_password_is_made_of_the_shops_own_name(desk: Desk) -> None:
    with pytest.raises(Unfit, match="easy to guess"):
        people.add_staff(desk, COMMAND, "Robin", "a small repair shop", "bench")


def test_nobody_at_the_bench_adds_people(desk: Desk, robin: By) -> None:
    with pytest.raises(Refused, match="Only the keeper"):
        people.add_staff(desk, robin, "Mallory", ANOTHER, "keeper")

    assert [each.name for each in people.everybody(desk)] == ["Kim", "Robin"]


DEEDS = {
    "disable": lambda desk, by: people.disable(desk, by, "Kim"),
    "change the role": lambda desk, by: people.change_role(desk, by, "Robin", "keeper"),
    "reset": lambda desk, by: people.reset(desk, by, "Kim", ANOTHER),
}


@pytest.mark.parametrize("deed", DEEDS.values(), ids=DEEDS)
@pytest.mark.parametrize("who", ["robin", "customer", "somebody disabled"])
def test_only_a_keeper_changes_the_staff(desk: Desk, kim: By, robin: By, who: str, deed) -> None:
    former = By("staff", people.add_staff(desk, kim, "Former", ANOTHER, "keeper"))
    people.disable(desk, kim, "Former")
    by = {"robin": robin, "customer": CUSTOMER, "somebody disabled": former}[who]

    with pytest.raises(Refused):
        deed(desk, by)

    assert person(desk, kim).disabled_at is None
    assert person(desk, robin).role == "bench"
    assert login_at(desk, sign_in(desk, "Kim"))


def test_the_last_keeper_cannot_be_disabled(desk: Desk, kim: By) -> None:
    with pytest.raises(Refused, match="last keeper"):
        people.disable(desk, COMMAND, "Kim")


def test_the_last_keeper_cannot_become_a_bench_hand(desk: Desk, kim: By) -> None:
    with pytest.raises(Refused, match="last keeper"):
        people.change_role(desk, kim, "Kim", "bench")


def test_two_keepers_who_disable_each_other_at_once_leave_one(desk: Desk, kim: By) -> None:
    lee = By("staff", people.add_staff(desk, kim, "Lee", ANOTHER, "keeper"))

    def disable(by: By, name: str) -> bool:
        try:
            people.disable(desk, by, name)
        except Refused:
            return False
        return True

    with ThreadPoolExecutor(2) as pool:
        done = [each.result() for each in (pool.submit(disable, kim, "Lee"), pool.submit(disable, lee, "Kim"))]

    assert sorted(done) == [False, True]


def test_nobody_of_that_name_is_told(desk: Desk, kim: By) -> None:
    with pytest.raises(NotFound, match="Nobody here is called “Sam”"):
        people.disable(desk, kim, "Sam")


def test_somebody_disabled_cannot_log_in(desk: Desk, kim: By, robin: By) -> None:
    people.disable(desk, kim, "Robin")

    with pytest.raises(WrongLogin):
        sign_in(desk, "Robin")


ENDINGS = {
    "disable": lambda desk, kim, robin: people.disable(desk, kim, "Robin"),
    "change the role": lambda desk, kim, robin: people.change_role(desk, kim, "Robin", "keeper"),
    "reset": lambda desk, kim, robin: people.reset(desk, kim, "Robin", ANOTHER),
    "change the password": lambda desk, kim, robin: people.change_password(desk, robin, PASSWORD, ANOTHER),
    "set a second factor": lambda desk, kim, robin: people.set_second_factor(
        desk, robin, PASSWORD, FACTOR, pyotp.TOTP(FACTOR).at(desk.clock.now())
    ),
    "end the logins": lambda desk, kim, robin: people.end_logins(desk, robin, PASSWORD),
}


@pytest.mark.parametrize("ending", ENDINGS.values(), ids=ENDINGS)
def test_it_ends_all_logins_of_that_person_and_nobody_elses(desk: Desk, kim: By, robin: By, ending) -> None:
    """OWASP ASVS 5.0 7.4.2 and 7.4.3."""
    phone, bench, keepers = sign_in(desk, "Robin"), sign_in(desk, "Robin"), sign_in(desk, "Kim")

    ending(desk, kim, robin)

    assert login_at(desk, phone) is None
    assert login_at(desk, bench) is None
    assert login_at(desk, keepers) is not None


def test_a_device_that_somebody_disabled_had_opened_is_closed_to_those_who_took_it_over(
    desk: Desk, kim: By, robin: By
) -> None:
    people.set_pin(desk, kim, PASSWORD, "481516")
    key = sign_in(desk, "Robin")
    logins.lock(desk, login_at(desk, key))
    logins.unlock(desk, login_at(desk, key), "Kim", "481516")

    people.disable(desk, COMMAND, "Robin")

    assert login_at(desk, key) is None


def test_a_new_password_replaces_the_old_one(desk: Desk, robin: By) -> None:
    people.change_password(desk, robin, PASSWORD, ANOTHER)

    with pytest.raises(WrongLogin):
        sign_in(desk, "Robin", PASSWORD)
    assert login_at(desk, sign_in(desk, "Robin", ANOTHER))


def test_whoever_changes_the_password_knows_the_old_one(desk: Desk, robin: By) -> None:
    with pytest.raises(Unfit, match="not your present password") as refused:
        people.change_password(desk, robin, "something else entirely", ANOTHER)

    assert refused.value.field == "old"
    assert login_at(desk, sign_in(desk, "Robin", PASSWORD))


def test_the_old_password_is_asked_a_few_times_only(desk: Desk, robin: By) -> None:
    for _try in range(5):
        with pytest.raises(Unfit):
            people.change_password(desk, robin, "something else entirely", ANOTHER)

    with pytest.raises(TooOften):
        people.change_password(desk, robin, PASSWORD, ANOTHER)


def test_a_reset_takes_the_pin_and_the_second_factor_away(desk: Desk, kim: By, robin: By) -> None:
    people.set_pin(desk, robin, PASSWORD, "481516")
    people.set_second_factor(desk, robin, PASSWORD, FACTOR, pyotp.TOTP(FACTOR).at(desk.clock.now()))

    people.reset(desk, kim, "Robin", ANOTHER)

    assert (person(desk, robin).pin_hash, person(desk, robin).second_factor) == ("", "")
    assert login_at(desk, sign_in(desk, "Robin", ANOTHER))


def test_a_reset_lets_somebody_in_who_had_tried_too_often(desk: Desk, kim: By, robin: By) -> None:
    for place in range(60):
        with pytest.raises(Refused):
            sign_in(desk, "Robin", "wrong", address=f"198.51.100.{place}")

    people.reset(desk, kim, "Robin", ANOTHER)

    assert login_at(desk, sign_in(desk, "Robin", ANOTHER, address="203.0.113.9"))


def test_a_reset_of_somebody_disabled_is_refused(desk: Desk, kim: By, robin: By) -> None:
    people.disable(desk, kim, "Robin")

    with pytest.raises(Refused, match="disabled"):
        people.reset(desk, kim, "Robin", ANOTHER)


@pytest.mark.parametrize("factor", ["", "short", "jbswy3dpehpk3pxpjbswy3dpehpk3pxp", "0" * 32])
def test_a_second_factor_is_a_secret_of_160_bits(desk: Desk, robin: By, factor: str) -> None:
    """RFC 4226 section 4, requirement 6."""
    with pytest.raises(Unfit) as refused:
        people.set_second_factor(desk, robin, PASSWORD, factor, "123456")

    assert refused.value.field == "code"


def test_a_second_factor_is_taken_only_once_the_phone_has_shown_that_it_knows_it(desk: Desk, robin: By) -> None:
    old = pyotp.TOTP(FACTOR).at(desk.clock.now() - timedelta(minutes=5))

    with pytest.raises(Unfit, match="not the code of now"):
        people.set_second_factor(desk, robin, PASSWORD, FACTOR, old)

    assert person(desk, robin).second_factor == ""


def test_the_secrets_of_a_person_do_not_show_when_printed(desk: Desk, robin: By) -> None:
    people.set_pin(desk, robin, PASSWORD, "481516")
    people.set_second_factor(desk, robin, PASSWORD, FACTOR, pyotp.TOTP(FACTOR).at(desk.clock.now()))

    shown = repr(person(desk, robin))

    assert "argon2" not in shown
    assert FACTOR not in shown


def test_an_empty_pin_takes_the_pin_away(desk: Desk, robin: By) -> None:
    people.set_pin(desk, robin, PASSWORD, "481516")
    people.set_pin(desk, robin, PASSWORD, "")

    assert person(desk, robin).pin_hash == ""
