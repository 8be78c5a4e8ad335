"""The staff: adding and disabling people, and what each may change of their own login.

Whatever makes a login less trustworthy (another password, another role, disabling) ends that person's logins on every
device. Who does a deed must be a keeper, or the command on the machine itself.
"""

from __future__ import annotations

import logging
import re

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from portal.actions import hashes, logins
from portal.actions.desk import By, Desk, NoPolicy, NotFound
from portal.rules import contact as addresses
from portal.rules import passwords
from portal.rules import people as rules
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.store import people
from portal.store.people import Person

log = logging.getLogger(__name__)

_FACTOR = re.compile(r"[A-Z2-7]{32}")  # 160 bits in base32 (RFC 4226 section 4 R6 recommends 160)


def add_staff(desk: Desk, by: By, name: str, password: str, role: str) -> int:
    """Add somebody and tell their id. Raises Unfit for a name taken, a role unknown, a password that does not do."""
    with desk.reading() as connection:
        only_keeper(connection, by)
        wanted = rules.new_name(name, [person.name for person in people.everybody(connection)])
        kept_role = rules.role(role)
        kept = hashes.kept(passwords.password(password, own_words(desk, connection, wanted)))
    try:
        with desk.writing() as connection:
            rules.new_name(wanted, [person.name for person in people.everybody(connection)])
            staff_id = people.add(connection, wanted, kept_role, kept, desk.clock.now())
    except IntegrityError:  # PostgreSQL: somebody added the same name meanwhile
        raise Unfit("name", say("There is a “{name}” already. Please take another name.", name=wanted)) from None
    log.info("account %s added, role %s", staff_id, kept_role)
    return staff_id


def everybody(desk: Desk) -> list[Person]:
    """All staff by name, those who may no longer log in last."""
    with desk.reading() as connection:
        return people.everybody(connection)


def disable(desk: Desk, by: By, name: str) -> None:
    """Let somebody in no more, and end their logins. Raises Refused for the last keeper, NotFound."""
    with desk.writing() as connection:
        only_keeper(connection, by)
        keepers = people.keepers(connection)
        person = named(connection, name)
        if person.disabled_at:
            raise Refused(say("“{name}” is disabled already.", name=person.name))
        if person.is_keeper:
            rules.check_a_keeper_stays(person.name, person.id, keepers)
        people.change(connection, person.id, disabled_at=desk.clock.now())
        people.end_logins(connection, person.id)
    log.info("account %s disabled", person.id)


def change_role(desk: Desk, by: By, name: str, role: str) -> None:
    """Give somebody another role, and end their logins. Raises Refused for the last keeper, Unfit, NotFound."""
    with desk.writing() as connection:
        only_keeper(connection, by)
        keepers = people.keepers(connection)
        person, wanted = named(connection, name), rules.role(role)
        if person.role == wanted:
            return
        if person.is_keeper:
            rules.check_a_keeper_stays(person.name, person.id, keepers)
        people.change(connection, person.id, role=wanted)
        people.end_logins(connection, person.id)
    log.info("account %s has role %s", person.id, wanted)


def reset(desk: Desk, by: By, name: str, password: str) -> None:
    """Give somebody who cannot log in a new password.

    Their PIN and second factor go, failed tries are forgotten, their logins end. Raises Unfit, NotFound, and Refused
    for somebody disabled.
    """
    with desk.reading() as connection:
        only_keeper(connection, by)
        person = named(connection, name)
        if person.disabled_at:
            raise Refused(say("“{name}” is disabled, so a new password would not help.", name=person.name))
        kept = hashes.kept(passwords.password(password, own_words(desk, connection, person.name)))
    with desk.writing() as connection:
        people.change(connection, person.id, password_hash=kept, pin_hash="", second_factor="")
        people.end_logins(connection, person.id)
        logins.forgive(desk, connection, person.name)
    log.info("account %s reset", person.id)


def change_password(desk: Desk, by: By, old: str, new: str) -> None:
    """Change one's own password, which ends all of one's logins. Raises Unfit (fields "old", "password"), TooOften."""
    person = prove(desk, by, old, field="old")
    with desk.reading() as connection:
        kept = hashes.kept(passwords.password(new, own_words(desk, connection, person.name)))
    with desk.writing() as connection:
        people.change(connection, person.id, password_hash=kept)
        people.end_logins(connection, person.id)
    log.info("account %s has a new password", person.id)


def set_pin(desk: Desk, by: By, password: str, pin: str) -> None:
    """Set the PIN that opens a locked device, or take it away with an empty one. Raises Unfit, TooOften."""
    person = prove(desk, by, password)
    wanted = passwords.pin(pin) if pin.strip() else ""
    kept = hashes.kept(hashes.pin_text(desk.links.secret, person.id, wanted)) if wanted else ""
    with desk.writing() as connection:
        people.change(connection, person.id, pin_hash=kept)
    log.info("account %s has %s PIN", person.id, "a new" if wanted else "no")


def set_second_factor(desk: Desk, by: By, password: str, factor: str, code: str) -> None:
    """Ask for a second factor at every login from now on, and end the logins made without.

    `factor` is the secret that was shown, in base32. Raises Unfit (also where `code` is not its present one), TooOften.
    """
    person = prove(desk, by, password)
    step = logins.code_step(factor, code, desk.clock.now()) if _FACTOR.fullmatch(factor) else None
    if step is None:
        raise Unfit("code", say("This is not the code of now. Check the clock of the phone, and type the newest code."))
    with desk.writing() as connection:
        people.change(connection, person.id, second_factor=factor, second_factor_step=step)
        people.end_logins(connection, person.id)
    log.info("account %s has a second factor", person.id)


def drop_second_factor(desk: Desk, by: By, password: str) -> None:
    """Ask for no second factor any more. Raises Unfit for a wrong password, Refused where the policy asks for one."""
    person = prove(desk, by, password)
    with desk.writing() as connection:
        if person.is_keeper and desk.policy(connection).people.keepers_need_second_factor:
            raise Refused(say("The shop’s policy asks keepers for a second factor, so it has to stay."))
        people.change(connection, person.id, second_factor="", second_factor_step=0)
    log.info("account %s has no second factor", person.id)


def set_email(desk: Desk, by: By, password: str, typed: str) -> None:
    """Set where the shop's own news for this person goes, or take it away with an empty one. Raises Unfit, TooOften."""
    wanted = addresses.email(typed)
    person = prove(desk, by, password)
    with desk.writing() as connection:
        people.change(connection, person.id, email=wanted)
    log.info("account %s has %s address for news", person.id, "an" if wanted else "no")


def end_logins(desk: Desk, by: By, password: str) -> None:
    """End all of one's own logins, on every device. Raises Unfit for a wrong password, TooOften."""
    person = prove(desk, by, password)
    with desk.writing() as connection:
        people.end_logins(connection, person.id)
    log.info("account %s ended its logins", person.id)


def prove(desk: Desk, by: By, password: str, *, field: str = "own_password") -> Person:
    """The person who does the deed, once they have typed their own password again (OWASP ASVS 5.0 7.5.1).

    Raises Unfit at `field` for a wrong one, TooOften after a few of those.
    """
    with desk.reading() as connection:
        person = _doer(connection, by)
    logins.count_password(desk, person)
    if not hashes.fits(person.password_hash, passwords.normal(password)):
        raise Unfit(field, say("This is not your present password. Please type it again."))
    with desk.writing() as connection:
        logins.forgive_password(desk, connection, person)
    return person


def named(connection: Connection, name: str) -> Person:
    """The person with this name, whatever its case. Raises NotFound."""
    person = people.by_name(connection, passwords.name_typed(name))
    if person is None:
        raise NotFound(say("Nobody here is called “{name}”.", name=passwords.name_typed(name)))
    return person


def is_keeper(connection: Connection, by: By) -> bool:
    """Whether a deed is a keeper's who has not left; whoever has the machine's command line answers for the shop."""
    person = people.by_id(connection, by.staff_id) if by.staff_id is not None else None
    return by.kind == "command" or bool(person and person.is_keeper and not person.disabled_at)


def only_keeper(connection: Connection, by: By) -> None:
    """Raises Refused for anybody but the keeper, as `is_keeper` says it, and for one who is disabled."""
    if by.kind != "command" and not _doer(connection, by).is_keeper:
        raise Refused(say("Only the keeper may do this."))


def own_words(desk: Desk, connection: Connection, name: str) -> list[str]:
    """The names that no password may be made of: the shop's and the person's own."""
    try:
        return [desk.policy(connection).shop.name, name]
    except NoPolicy:  # the first keeper may be added before the shop has its policy
        return [name]


def _doer(connection: Connection, by: By) -> Person:
    person = people.by_id(connection, by.staff_id) if by.staff_id is not None else None
    if person is None or person.disabled_at:
        raise Refused(say("Only somebody of the staff may do this."))
    return person
