"""Reasons that whoever sends advice writes by hand: the same in every language, or as they were
made of the answers."""

from collections.abc import Mapping
from dataclasses import replace

from django.conf import settings
from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from kits.models import Item, Need
from kits.services.advice import drafts
from kits.services.advice.drafts import Answers, Draft, Line, Omitted, Texts
from kits.services.text.planning import rate_texts

Which = tuple[type, int | str | None]
"""Which line it is: carried or not, and of what."""


def settled(draft: Draft, *, was: Draft, answers: Answers) -> Draft:
    """An edited draft with its reasons made anew where they were cleared in every language. Raises
    Invalid for one that was changed in some languages only: readers of the others would be told
    something else."""
    before = _reasons(was)
    for line in draft.all_lines:
        _refuse_half(line, before.get(_which(line), {}))
    if all(any(line.reason.values()) for line in draft.all_lines):
        return draft
    made = _reasons(drafts.make(answers))
    return replace(
        draft,
        lines=[replace(line, reason=_or_made(line, made)) for line in draft.lines],
        not_carried=[replace(line, reason=_or_made(line, made)) for line in draft.not_carried],
    )


def _which(line: Line | Omitted) -> Which:
    return type(line), line.item or getattr(line, "need", None)


def _reasons(draft: Draft) -> dict[Which, Texts]:
    return {_which(line): line.reason for line in draft.all_lines}


def _or_made(line: Line | Omitted, made: Mapping[Which, Texts]) -> Texts:
    return line.reason if any(line.reason.values()) else made.get(_which(line), line.reason)


def _refuse_half(line: Line | Omitted, before: Texts) -> None:
    if not before:
        return
    same = [line.reason.get(key) == before.get(key) for key, _name in settings.LANGUAGES]
    if any(same) and not all(same):
        raise Invalid(
            _(
                "%(name)s: the reason was changed in one language only. Change it in every "
                "language, or empty it in every language to go back to the original reason."
            )
            % {"name": _name(line)}
        )


def _name(line: Line | Omitted) -> str:
    if line.item:
        return str(Item.objects.get(pk=line.item))
    return rate_texts.word(Need.objects.get(key=getattr(line, "need", None)).name)
