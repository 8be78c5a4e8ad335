"""The staff: who may log in, and the devices on which they did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from portal.store.tables import logins, staff


@dataclass(frozen=True)
class Person:
    """Somebody of the staff. The hashes and the second factor's secret never show themselves when printed."""

    id: int
    name: str
    role: str
    generation: int
    disabled_at: datetime | None
    password_hash: str = field(repr=False)
    pin_hash: str = field(repr=False)
    second_factor: str = field(repr=False)
    email: str = field(repr=False)  # "" for none

    @property
    def is_keeper(self) -> bool:
        """Whether they may do what only the keeper may."""
        return self.role == "keeper"


@dataclass(frozen=True)
class Login:
    """A device on which somebody logged in, and who works there now.

    `camera_number` is the ticket it shows to a phone which is its camera; None where none follows it.
    """

    id: int
    opened_by: int
    opened_at: datetime
    locked: bool
    camera_number: str | None
    person: Person


_PERSON = (
    staff.c.id,
    staff.c.name,
    staff.c.role,
    staff.c.generation,
    staff.c.disabled_at,
    staff.c.password_hash,
    staff.c.pin_hash,
    staff.c.second_factor,
    staff.c.email,
)
_LOGIN = (logins.c.id, logins.c.opened_by, logins.c.opened_at, logins.c.locked, logins.c.camera_number)
_opener = staff.alias("opener")

_BY_ID = select(*_PERSON).where(staff.c.id == bindparam("staff_id"))
_ALL = select(*_PERSON).order_by(staff.c.disabled_at.is_not(None), staff.c.name)
# The lock keeps two keepers from disabling each other at the same moment on PostgreSQL.
_KEEPERS = select(staff.c.id).where(staff.c.role == "keeper", staff.c.disabled_at.is_(None)).with_for_update()
_CHANGE = update(staff).where(staff.c.id == bindparam("staff_id"))
_END_LOGINS = _CHANGE.values(generation=staff.c.generation + 1)
# Guarded, so that of two logins with one code only the first gets in.
_USE_STEP = _CHANGE.where(staff.c.second_factor_step < bindparam("step")).values(second_factor_step=bindparam("step"))

_LOGIN_BY_KEY = (
    select(*_LOGIN, *_PERSON)
    .join(staff, staff.c.id == logins.c.staff_id)
    .join(_opener, _opener.c.id == logins.c.opened_by)
    .where(
        logins.c.key == bindparam("wanted"),
        logins.c.generation == staff.c.generation,
        logins.c.opened_generation == _opener.c.generation,
        staff.c.disabled_at.is_(None),
        _opener.c.disabled_at.is_(None),
    )
)
_LOGIN_HERE = logins.c.id == bindparam("login_id")
_LOCK = update(logins).where(_LOGIN_HERE).values(locked=True, camera_number=None, camera_at=None)
_POINT = update(logins).where(_LOGIN_HERE).values(camera_number=bindparam("shown"), camera_at=bindparam("at"))
_POINTED = (
    select(logins.c.camera_number)
    .join(staff, staff.c.id == logins.c.staff_id)
    .where(
        logins.c.staff_id == bindparam("wanted"),
        logins.c.generation == staff.c.generation,
        logins.c.camera_at >= bindparam("after"),
    )
    .order_by(logins.c.camera_at.desc(), logins.c.id)
    .limit(1)
)
_STOP = update(logins).where(logins.c.staff_id == bindparam("wanted")).values(camera_number=None, camera_at=None)
# Guarded, so that tries at once cannot pass the limit together.
_COUNT_TRY = (
    update(logins)
    .where(_LOGIN_HERE, logins.c.locked, logins.c.pin_tries < bindparam("most"))
    .values(pin_tries=logins.c.pin_tries + 1)
)
_TAKE_OVER = (
    update(logins)
    .where(_LOGIN_HERE, logins.c.locked)
    .values(locked=False, pin_tries=0, staff_id=bindparam("new_id"), generation=bindparam("new_generation"))
)
_REMOVE = delete(logins).where(_LOGIN_HERE)
_REMOVE_SPENT = _REMOVE.where(logins.c.locked, logins.c.pin_tries >= bindparam("most"))
_COUNT_OLD = select(func.count()).select_from(logins).where(logins.c.opened_at < bindparam("before"))
# Who is forgotten has no password any more.
_LEFT = select(staff.c.id).where(staff.c.disabled_at < bindparam("before"), staff.c.password_hash != "")
_REMOVE_OLD = delete(logins).where(logins.c.opened_at < bindparam("before"))


def by_id(connection: Connection, staff_id: int) -> Person | None:
    """The person with this id, or None."""
    row = connection.execute(_BY_ID, {"staff_id": staff_id}).first()
    return Person(*tuple(row)) if row else None


def by_name(connection: Connection, name: str) -> Person | None:
    """The person with this name, whatever its case, or None.

    Compared here and not in SQL: SQLite's `lower` knows ASCII only, and the staff of a shop is few.
    """
    wanted = name.casefold()
    return next((person for person in everybody(connection) if person.name.casefold() == wanted), None)


def everybody(connection: Connection) -> list[Person]:
    """All staff by name, those who may no longer log in last."""
    return [Person(*tuple(row)) for row in connection.execute(_ALL)]


def with_pin(connection: Connection) -> list[Person]:
    """Who may open a locked device, by name."""
    return [person for person in everybody(connection) if person.pin_hash and not person.disabled_at]


def keepers(connection: Connection) -> Sequence[int]:
    """The ids of the keepers who may log in, locked until the transaction ends."""
    return connection.execute(_KEEPERS).scalars().all()


def add(connection: Connection, name: str, role: str, password_hash: str, now: datetime) -> int:
    """Add somebody and tell their id."""
    values = {"name": name, "role": role, "password_hash": password_hash, "made_at": now}
    key = connection.execute(insert(staff), values).inserted_primary_key
    return int(key[0]) if key else 0


def change(connection: Connection, staff_id: int, **values: object) -> None:
    """Change columns of a person by name."""
    connection.execute(_CHANGE.values(**values), {"staff_id": staff_id})


def end_logins(connection: Connection, staff_id: int) -> None:
    """End every login that a person opened or took over, on every device."""
    connection.execute(_END_LOGINS, {"staff_id": staff_id})


def use_step(connection: Connection, staff_id: int, step: int) -> bool:
    """Mark the time step of a second factor's code as used. False where it, or a later one, was used before."""
    return connection.execute(_USE_STEP, {"staff_id": staff_id, "step": step}).rowcount == 1


def open_login(connection: Connection, key: str, person: Person, now: datetime) -> None:
    """Write that a person logged in with their password on a device. Dead at once if their generation has moved on."""
    values = {
        "key": key,
        "staff_id": person.id,
        "generation": person.generation,
        "opened_by": person.id,
        "opened_generation": person.generation,
        "opened_at": now,
    }
    connection.execute(insert(logins), values)


def login(connection: Connection, key: str) -> Login | None:
    """The login with this key if it still counts, locked or not, in one statement; or None."""
    row = connection.execute(_LOGIN_BY_KEY, {"wanted": key}).first()
    if row is None:
        return None
    login_id, opened_by, opened_at, locked, camera_number, *person = row
    return Login(login_id, opened_by, opened_at, locked, camera_number, Person(*person))


def lock(connection: Connection, login_id: int) -> None:
    """Lock a device. No camera follows it any more."""
    connection.execute(_LOCK, {"login_id": login_id})


def point(connection: Connection, login_id: int, number: str, now: datetime) -> None:
    """Write which ticket a device shows to the phone that is its camera."""
    connection.execute(_POINT, {"login_id": login_id, "shown": number, "at": now})


def pointed_at(connection: Connection, staff_id: int, after: datetime) -> str | None:
    """The ticket that one of a person's devices showed last, after this instant; None where none did."""
    return connection.execute(_POINTED, {"wanted": staff_id, "after": after}).scalar()


def stop_pointing(connection: Connection, staff_id: int) -> None:
    """No device of this person shows anything to a camera any more."""
    connection.execute(_STOP, {"wanted": staff_id})


def count_pin_try(connection: Connection, login_id: int, most: int) -> bool:
    """Count a try to open a locked device by PIN. False when there were `most` since it was locked."""
    return connection.execute(_COUNT_TRY, {"login_id": login_id, "most": most}).rowcount == 1


def take_over(connection: Connection, login_id: int, person: Person) -> bool:
    """Open a locked device as this person. False when it is not locked any more."""
    values = {"login_id": login_id, "new_id": person.id, "new_generation": person.generation}
    return connection.execute(_TAKE_OVER, values).rowcount == 1


def remove_login(connection: Connection, login_id: int) -> None:
    """Forget a device's login: logging out."""
    connection.execute(_REMOVE, {"login_id": login_id})


def remove_spent_login(connection: Connection, login_id: int, most: int) -> bool:
    """Forget the login of a locked device whose `most` tries by PIN are spent. False when it is not such a one."""
    return connection.execute(_REMOVE_SPENT, {"login_id": login_id, "most": most}).rowcount == 1


def remove_old_logins(connection: Connection, before: datetime) -> int:
    """Forget the logins that were opened before this instant, and tell how many those were."""
    return connection.execute(_REMOVE_OLD, {"before": before}).rowcount


def count_old_logins(connection: Connection, before: datetime) -> int:
    """How many logins were opened before this instant."""
    return connection.execute(_COUNT_OLD, {"before": before}).scalar_one()


def left_before(connection: Connection, before: datetime) -> Sequence[int]:
    """Who left the shop before this instant and is still named."""
    return connection.execute(_LEFT, {"before": before}).scalars().all()
