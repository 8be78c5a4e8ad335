"""How devices leave the demo shop: what their owners choose, parcels, and what is given up."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from portal.actions import collection_codes, giving_up, handover, ownership, posting, return_ways
from portal.actions.desk import CUSTOMER, find
from portal.actions.handover import Handed
from portal.actions.posting import Packed
from portal.actions.return_ways import Wanted
from portal.rules.collection_days import open_days
from portal.rules.giving_up import WORDS
from portal.rules.posting import PACKING
from seed.paying import pays
from seed.scene import Scene


def collected(scene: Scene) -> None:
    """At the counter, by whoever says the code: the owner's, or the one on the docket's stub."""
    desk = scene.house.desk
    with desk.reading() as connection:
        code = collection_codes.first(desk, connection, find(connection, scene.number))
    _hand_over(scene, Handed(code=code, tested=True))


def collected_without_code(scene: Scene) -> None:
    """At the counter, by somebody who has forgotten the code; the keeper looks at other things."""
    _hand_over(scene, Handed(why=scene.one_of("why_no_code"), checked=("device", "name"), tested=True))


def chooses_a_day(scene: Scene) -> None:
    """The owner says on their page when they come."""
    days = open_days(scene.house.desk.clock.now(), scene.house.policy)
    day = scene.house.chance.choice(days[1:6]).day.isoformat()
    return_ways.choose(scene.house.desk, CUSTOMER, scene.number, Wanted("collect", day))


def sends_somebody(scene: Scene) -> None:
    """The owner says on their page who comes."""
    wanted = Wanted("send", person=scene.one_of("names"))
    return_ways.choose(scene.house.desk, CUSTOMER, scene.number, wanted)


def wants_it_posted(scene: Scene) -> None:
    """The owner confirms an address on their page."""
    address = f"{scene.name}\n{scene.one_of('streets')}\nQuayhaven"
    wanted = Wanted("post", address=address, confirmed=True)
    return_ways.choose(scene.house.desk, CUSTOMER, scene.number, wanted)


def posted(scene: Scene) -> None:
    """Packed by the list and gone."""
    reference = f"QH {scene.house.chance.randrange(10_000):04}"
    pays(scene)
    packed = Packed(scene.one_of("carriers"), reference, _today(scene), tuple(PACKING))
    posting.post_back(scene.house.desk, scene.house.keeper, scene.number, packed, confirmed=True)


def arrived(scene: Scene) -> None:
    """The parcel is with its owner."""
    posting.arrived(scene.house.desk, scene.house.bench, scene.number, _today(scene))


def gives_it_up(scene: Scene) -> None:
    """The owner gives the device up on their page, and wants its data destroyed."""
    word, desk = WORDS[scene.language], scene.house.desk
    giving_up.wish_on_page(desk, scene.number, True, "destroy", word, scene.language)


def is_given_up(scene: Scene) -> None:
    """The keeper does as the owner wished."""
    done, recycler = scene.text(scene.one_of("data_destroyed")), scene.one_of("recyclers")
    giving_up.give_up(scene.house.desk, scene.house.keeper, scene.number, done, recycler)


def is_claimed(scene: Scene) -> None:
    """Somebody else rings and says that it is theirs."""
    ownership.question(scene.house.desk, scene.house.bench, scene.number, scene.one_of("claims"))


def _hand_over(scene: Scene, handed: Handed) -> None:
    pays(scene)
    handover.hand_over(scene.house.desk, scene.house.keeper, scene.number, handed, confirmed=True)


def _today(scene: Scene) -> str:
    zone = ZoneInfo(scene.house.policy.shop.zone)
    return scene.house.desk.clock.now().astimezone(zone).date().isoformat()
