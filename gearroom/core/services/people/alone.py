"""Whether somebody works alone: one person and one gear room are on record. Then pages leave out
what takes others (`gearroom.core.rules.roles.FOR_SEVERAL`); nothing else is different."""

from dataclasses import dataclass

from gearroom.core.acts import Act, Actor, store
from gearroom.core.models import Person, Room
from gearroom.core.services.people import people


@dataclass(frozen=True)
class Company:
    """Whether there are other people, or several rooms; `shows_all`: whoever asks wants to see
    everything all the same."""

    others: bool
    several_rooms: bool
    shows_all: bool

    @property
    def one(self) -> bool:
        """One person and one room at most: the choice is theirs."""
        return not (self.others or self.several_rooms)

    @property
    def alone(self) -> bool:
        """Whether they work alone."""
        return self.one and not self.shows_all


def company(actor: Actor, rooms: int) -> Company:
    """Who else there is, for somebody who belongs to so many `rooms`. Shared devices and programs
    have company: whoever uses them is not known."""
    if actor.person is None or actor.assurance is not None or rooms > 1:
        return Company(others=actor.assurance is not None, several_rooms=rooms > 1, shows_all=False)
    here = Person.objects.filter(left_on=None, merged_into=None).exclude(pk=actor.person.pk)
    others = here.exclude(pk__in=people.programs().values("pk")).exists()
    several = not (others or actor.everywhere) and Room.objects.count() > 1
    return Company(others, several, actor.person.shows_all)


def choose(act: Act, person: Person, *, shows_all: bool) -> None:
    """Have pages show whoever acts everything though they work alone, or only what they need."""
    act.actor.require("own_account")
    store(person, shows_all=shows_all)
