"""Logging in: what a stranger learns, how often may be tried, locking a device, the second factor."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import count

import pyotp
import pytest
from argon2 import PasswordHasher
from sqlalchemy import select

from portal.actions import hashes, logins, people
from portal.actions.desk import COMMAND, By, Desk
from portal.actions.logins import LoginOver, WrongLogin, WrongPin
from portal.rules.refusals import Refused
from portal.rules.throttle import TooOften
from portal.store import tables
from tests.actions.test_people import FACTOR, PASSWORD, login_at, person, sign_in

HERE, ELSEWHERE = "192.0.2.1", "203.0.113.9"
PIN = "481516"


@pytest.fixture
def robin(desk: Desk) -> By:
    """A bench hand with PASSWORD."""
    return By("staff", people.add_staff(desk, COMMAND, "Robin", PASSWORD, "bench"))


@pytest.fixture
def with_factor(desk: Desk, robin: By) -> pyotp.TOTP:
    """Robin's second factor, set up a minute ago."""
    factor = pyotp.TOTP(FACTOR)
    people.set_second_factor(desk, robin, PASSWORD, FACTOR, factor.at(desk.clock.now()))
    desk.clock.at += timedelta(minutes=1)
    return factor


@pytest.fixture
def locked(desk: Desk, robin: By) -> str:
    """The key of a device that Robin, who has a PIN, logged in on and locked."""
    people.set_pin(desk, robin, PASSWORD, PIN)
    key = sign_in(desk, "Robin")
    logins.lock(desk, login_at(desk, key))
    return key


def refusal(deed: Callable[[], object]) -> Refused:
    with pytest.raises(Refused) as refused:
        deed()
    return refused.value


# What a stranger learns


def test_the_answer_is_the_same_whatever_was_wrong(desk: Desk, robin: By, with_factor: pyotp.TOTP) -> None:
    people.add_staff(desk, COMMAND, "Former", PASSWORD, "bench")
    people.disable(desk, COMMAND, "Former")
    wrong = [("Nobody", PASSWORD), ("Robin", "wrong"), ("Robin", PASSWORD), ("Former", PASSWORD), ("", "")]

    answers = [refusal(lambda name=name, typed=typed: sign_in(desk, name, typed)) for name, typed in wrong]

    assert {type(answer) for answer in answers} == {WrongLogin}
    assert len({str(answer) for answer in answers}) == 1


@pytest.mark.parametrize("name", ["Robin", "Nobody", "Former", ""])
def test_as_much_is_reckoned_for_a_name_that_nobody_has(
    desk: Desk, robin: By, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """OWASP ASVS 5.0 6.3.8: the time must not tell either; nearly all of it goes into the one comparison."""
    people.add_staff(desk, COMMAND, "Former", PASSWORD, "bench")
    people.disable(desk, COMMAND, "Former")
    compared: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, kept: str, typed: str | bytes) -> bool:
            compared.append(kept.rpartition("$")[0].rpartition("$")[0])
            return super().verify(kept, typed)

    monkeypatch.setattr(hashes, "HASHER", Counting(time_cost=2, memory_cost=19_456, parallelism=1))

    refusal(lambda: sign_in(desk, name, "wrong"))

    assert compared == ["$argon2id$v=19$m=19456,t=2,p=1"]


def test_passwords_are_kept_as_argon2id_with_owasps_parameters(desk: Desk, robin: By) -> None:
    """OWASP Password Storage Cheat Sheet: m = 19 MiB, t = 2, p = 1."""
    assert person(desk, robin).password_hash.startswith("$argon2id$v=19$m=19456,t=2,p=1$")


def test_a_password_kept_with_older_parameters_is_kept_anew_at_the_next_login(desk: Desk, robin: By) -> None:
    old = PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash(PASSWORD)
    with desk.writing() as connection:
        connection.execute(tables.staff.update().values(password_hash=old))

    sign_in(desk, "Robin")

    assert "m=19456,t=2,p=1" in person(desk, robin).password_hash
    assert login_at(desk, sign_in(desk, "Robin"))


@pytest.mark.parametrize(
    "typed", ["x" * 10_000, "\0", "\ud800", "{{7*7}}", "'; DROP TABLE staff; --", "\u202e", "🦔" * 500]
)
def test_whatever_is_typed_is_only_a_wrong_login(desk: Desk, robin: By, typed: str) -> None:
    for name, password in ((typed, PASSWORD), ("Robin", typed), (typed, typed)):
        assert isinstance(refusal(lambda name=name, word=password: sign_in(desk, name, word, typed)), WrongLogin)


# What the database and the log hold


def test_a_copy_of_the_database_logs_nobody_in(desk: Desk, robin: By) -> None:
    key = sign_in(desk, "Robin")

    with desk.reading() as connection:
        (kept,) = connection.execute(select(tables.logins.c.key)).scalars()

    assert kept == hashlib.sha256(key.encode()).hexdigest()
    assert login_at(desk, kept) is None


def test_the_key_of_a_device_has_at_least_128_bits(desk: Desk, robin: By) -> None:
    """OWASP ASVS 5.0 7.2.3."""
    keys = {sign_in(desk, "Robin") for _login in range(3)}

    assert len(keys) == 3
    assert all(len(key) * 6 >= 128 for key in keys)


def test_no_name_and_no_address_is_logged_or_counted_in_the_clear(
    desk: Desk, robin: By, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)

    sign_in(desk, "Robin", address=ELSEWHERE)
    for _try in range(7):
        refusal(lambda: sign_in(desk, "Robin", "not the password", address=ELSEWHERE))
        refusal(lambda: sign_in(desk, "Zacharias", "not the password", address=ELSEWHERE))

    with desk.reading() as connection:
        counted = repr(connection.execute(select(tables.throttles)).all())
    for secret in ("Robin", "robin", "acharias", "not the password", PASSWORD, ELSEWHERE):
        assert secret not in caplog.text
        assert secret not in counted
    assert f"account {robin.staff_id}" in caplog.text


# How often


def test_after_five_wrong_logins_at_one_address_even_the_right_one_waits(desk: Desk, robin: By) -> None:
    for _try in range(5):
        assert isinstance(refusal(lambda: sign_in(desk, "Robin", "wrong")), WrongLogin)

    refused = refusal(lambda: sign_in(desk, "Robin"))

    assert isinstance(refused, TooOften)
    assert refused.retry_at == desk.clock.now() + timedelta(minutes=1)


def test_the_wait_grows(desk: Desk, robin: By) -> None:
    for _try in range(5):
        refusal(lambda: sign_in(desk, "Robin", "wrong"))

    waits = []
    for _try in range(4):
        refused = refusal(lambda: sign_in(desk, "Robin", "wrong"))
        waits.append(refused.retry_at - desk.clock.now())
        desk.clock.at = refused.retry_at
        refusal(lambda: sign_in(desk, "Robin", "wrong"))

    assert [wait.total_seconds() / 60 for wait in waits] == [1, 2, 4, 8]


def test_a_login_that_goes_well_forgets_the_wrong_ones(desk: Desk, robin: By) -> None:
    for _round in range(3):
        for _try in range(4):
            refusal(lambda: sign_in(desk, "Robin", "wrong"))
        assert login_at(desk, sign_in(desk, "Robin"))


@pytest.mark.parametrize("name", ["Robin", "Nobody"])
def test_two_hundred_wrong_logins_from_one_address_shut_that_address_out_and_not_the_owner(
    desk: Desk, robin: By, name: str
) -> None:
    answers = [type(refusal(lambda: sign_in(desk, name, "wrong", address=HERE))) for _try in range(200)]

    assert answers.count(WrongLogin) == 5
    assert login_at(desk, sign_in(desk, "Robin", address=ELSEWHERE))


def test_one_address_tries_few_names(desk: Desk) -> None:
    answers = [type(refusal(lambda place=place: sign_in(desk, f"name {place}", "wrong"))) for place in range(200)]

    assert answers.count(WrongLogin) == 30


def test_two_hundred_addresses_together_are_stopped_by_the_account(desk: Desk, robin: By) -> None:
    answers = [
        type(refusal(lambda place=place: sign_in(desk, "Robin", "wrong", address=f"10.0.0.{place}")))
        for place in range(200)
    ]

    assert answers.count(WrongLogin) == 50
    assert set(answers[50:]) == {TooOften}


def test_however_patient_the_strangers_are_a_hundred_failures_are_the_most(
    desk: Desk, robin: By, monkeypatch: pytest.MonkeyPatch
) -> None:
    """NIST SP 800-63B-4 (section number from memory: 3.2.2): no more than 100 consecutive failures per account."""
    monkeypatch.setattr(hashes, "fits", lambda _kept, _typed: False)
    heard, places, end = 0, count(), desk.clock.now() + timedelta(days=28)

    while desk.clock.now() < end:
        try:
            sign_in(desk, "Robin", "wrong", address=f"address {next(places)}")
        except WrongLogin:
            heard += 1
        except TooOften as refused:  # then they wait until the shorter counts are forgotten
            desk.clock.at = refused.retry_at + timedelta(minutes=15)

    assert heard == 100


def test_tries_at_once_are_all_counted(desk: Desk, robin: By, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hashes, "fits", lambda _kept, _typed: False)

    def wrong(_place: int) -> type[Refused]:
        return type(refusal(lambda: sign_in(desk, "Robin", "wrong")))

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(wrong, range(24)))

    assert answers.count(WrongLogin) == 5


# The second factor


def test_a_second_factor_is_asked_for(desk: Desk, with_factor: pyotp.TOTP) -> None:
    refusal(lambda: sign_in(desk, "Robin"))

    assert login_at(desk, sign_in(desk, "Robin", code=with_factor.at(desk.clock.now())))


@pytest.mark.parametrize("seconds", [-30, 0, 30])
def test_a_phone_whose_clock_is_half_a_minute_off_still_fits(desk: Desk, with_factor: pyotp.TOTP, seconds: int) -> None:
    """RFC 6238 section 5.2 recommends to bear one time step of delay."""
    code = with_factor.at(desk.clock.now() + timedelta(seconds=seconds))

    assert login_at(desk, sign_in(desk, "Robin", code=f" {code[:3]} {code[3:]} "))


@pytest.mark.parametrize("seconds", [-90, 90])
def test_a_code_of_another_time_does_not_fit(desk: Desk, with_factor: pyotp.TOTP, seconds: int) -> None:
    code = with_factor.at(desk.clock.now() + timedelta(seconds=seconds))

    assert isinstance(refusal(lambda: sign_in(desk, "Robin", code=code)), WrongLogin)


def test_a_code_counts_once(desk: Desk, with_factor: pyotp.TOTP) -> None:
    """RFC 6238 section 5.2; OWASP ASVS 5.0 6.5.1."""
    code = with_factor.at(desk.clock.now())
    sign_in(desk, "Robin", code=code)

    assert isinstance(refusal(lambda: sign_in(desk, "Robin", code=code)), WrongLogin)


def test_the_code_that_set_the_factor_up_logs_nobody_in(desk: Desk, robin: By) -> None:
    code = pyotp.TOTP(FACTOR).at(desk.clock.now())
    people.set_second_factor(desk, robin, PASSWORD, FACTOR, code)

    assert isinstance(refusal(lambda: sign_in(desk, "Robin", code=code)), WrongLogin)


def test_a_second_factor_that_was_dropped_is_asked_for_no_more(desk: Desk, robin: By, with_factor: pyotp.TOTP) -> None:
    people.drop_second_factor(desk, robin, PASSWORD)

    assert login_at(desk, sign_in(desk, "Robin"))


# A device that is locked


def test_a_locked_device_is_nobodys(desk: Desk, locked: str) -> None:
    assert login_at(desk, locked).locked


def test_the_same_person_opens_it_by_pin(desk: Desk, robin: By, locked: str) -> None:
    logins.unlock(desk, login_at(desk, locked), "Robin", PIN)

    login = login_at(desk, locked)
    assert (login.locked, login.person.id) == (False, robin.staff_id)


def test_another_person_opens_it_by_their_pin_as_themselves(desk: Desk, locked: str) -> None:
    sam = By("staff", people.add_staff(desk, COMMAND, "Sam", PASSWORD, "bench"))
    people.set_pin(desk, sam, PASSWORD, "902103")

    logins.unlock(desk, login_at(desk, locked), "sam", "902103")

    assert login_at(desk, locked).person.id == sam.staff_id


@pytest.mark.parametrize(("name", "pin"), [("Robin", "000001"), ("Robin", ""), ("Nobody", PIN), ("Sam", "")])
def test_a_wrong_pin_opens_nothing(desk: Desk, locked: str, name: str, pin: str) -> None:
    people.add_staff(desk, COMMAND, "Sam", PASSWORD, "bench")  # has no PIN

    assert isinstance(refusal(lambda: logins.unlock(desk, login_at(desk, locked), name, pin)), WrongPin)
    assert login_at(desk, locked).locked


def test_after_five_wrong_pins_the_device_wants_a_password(desk: Desk, locked: str) -> None:
    login = login_at(desk, locked)
    for _try in range(5):
        assert isinstance(refusal(lambda: logins.unlock(desk, login, "Robin", "000001")), WrongPin)

    assert isinstance(refusal(lambda: logins.unlock(desk, login, "Robin", PIN)), LoginOver)
    assert login_at(desk, locked) is None


def test_wrong_pins_at_once_are_all_counted(desk: Desk, locked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hashes, "fits", lambda _kept, _typed: False)
    login = login_at(desk, locked)

    def wrong(_place: int) -> type[Refused]:
        return type(refusal(lambda: logins.unlock(desk, login, "Robin", "000001")))

    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(wrong, range(18)))

    assert answers.count(WrongPin) == 5


def test_a_pin_that_is_tried_on_one_device_after_the_other_is_guarded_too(desk: Desk, locked: str) -> None:
    people.add_staff(desk, COMMAND, "Mallory", PASSWORD, "bench")
    heard = 0
    for place in range(8):
        key = sign_in(desk, "Mallory", address=f"10.0.0.{place}")
        logins.lock(desk, login_at(desk, key))
        for _try in range(5):
            heard += isinstance(
                refusal(lambda key=key: logins.unlock(desk, login_at(desk, key), "Robin", "000001")), WrongPin
            )

    assert heard == 15


def test_a_stolen_database_alone_does_not_give_a_pin_away(desk: Desk, robin: By, locked: str) -> None:
    assert not hashes.fits(person(desk, robin).pin_hash, PIN)


def test_a_device_that_is_not_locked_is_not_taken_over_by_pin(desk: Desk, locked: str) -> None:
    sam = By("staff", people.add_staff(desk, COMMAND, "Sam", PASSWORD, "bench"))
    people.set_pin(desk, sam, PASSWORD, "902103")
    login = login_at(desk, locked)
    logins.unlock(desk, login, "Robin", PIN)

    refusal(lambda: logins.unlock(desk, login, "Sam", "902103"))

    assert login_at(desk, locked).person.name == "Robin"


# Ends


def test_logging_out_ends_the_login_of_this_device_only(desk: Desk, robin: By) -> None:
    """OWASP ASVS 5.0 7.4.1: a copied cookie is worth nothing afterwards."""
    bench, phone = sign_in(desk, "Robin"), sign_in(desk, "Robin")

    logins.sign_out(desk, login_at(desk, bench))

    assert login_at(desk, bench) is None
    assert login_at(desk, phone)


def test_a_login_ends_a_week_after_the_password_was_typed(desk: Desk, robin: By) -> None:
    """OWASP ASVS 5.0 7.3.2: there is an absolute end."""
    key = sign_in(desk, "Robin")

    desk.clock.at += logins.LONGEST
    assert login_at(desk, key)

    desk.clock.at += timedelta(seconds=1)
    assert login_at(desk, key) is None


def test_opening_a_device_by_pin_does_not_put_its_end_off(desk: Desk, locked: str) -> None:
    desk.clock.at += timedelta(days=6)
    logins.unlock(desk, login_at(desk, locked), "Robin", PIN)

    desk.clock.at += timedelta(days=1, seconds=1)

    assert login_at(desk, locked) is None


def test_old_logins_are_forgotten(desk: Desk, robin: By) -> None:
    sign_in(desk, "Robin")
    desk.clock.at += timedelta(days=8)
    sign_in(desk, "Robin")

    with desk.reading() as connection:
        assert len(connection.execute(select(tables.logins)).all()) == 1
