"""Advice that the school sent: for a canoe trip of somebody outside."""

from gearroom.site.scenario.school import PLAN, School
from kits.services.advice import access, links, sending
from kits.services.advice.drafts import Answers


def advise(school: School) -> None:
    """Turn advice on, name who sends it, and send one answer."""
    plan = PLAN["advice"]
    sender = school.people[plan["sender"]]
    access.put(school.act(), on=True, senders=[sender.pk])
    made, _link = links.make(school.act(sender.name))
    advice = links.answer(made, Answers(**plan["answers"]))
    sending.send(school.act(sender.name), advice, revision=advice.revision, duty_confirmed=True)
